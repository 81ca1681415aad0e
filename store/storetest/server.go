package storetest

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"github.com/moby/moby/api/types/container"
	"github.com/moby/moby/api/types/network"
	"github.com/testcontainers/testcontainers-go"
	"github.com/testcontainers/testcontainers-go/log"
	"github.com/testcontainers/testcontainers-go/wait"

	"rideout/store/private"
)

const defaultImage = "rideout-postgres:15"

// startLimit is for a slow machine that starts several at once.
const startLimit = 2 * time.Minute

func startServer() server {
	ctx, cancel := context.WithTimeout(context.Background(), startLimit)
	defer cancel()
	s := choose(ctx)
	if s.wrong == nil {
		fmt.Println("database:", s.kind)
	}
	if s.stop == nil {
		s.stop = func(bool) error { return nil }
	}
	return s
}

func choose(ctx context.Context) server {
	if address := os.Getenv("TEST_DATABASE_URL"); address != "" {
		return given(address)
	}
	image := os.Getenv("RIDEOUT_TEST_CONTAINER")
	switch {
	case image == "off":
	case image != "":
		return inContainer(ctx, image)
	case daemonHas(ctx, defaultImage) == nil:
		return inContainer(ctx, defaultImage)
	}
	return ours(ctx)
}

func given(address string) server {
	u, err := url.Parse(address)
	if err == nil && u.Scheme != "postgres" && u.Scheme != "postgresql" {
		err = errors.New("not a postgres:// address")
	}
	if err != nil {
		return server{wrong: fmt.Errorf("TEST_DATABASE_URL: %w", err)}
	}
	return server{kind: "TEST_DATABASE_URL", url: address}
}

// ours is a private Postgres, which ends with this process.
func ours(ctx context.Context) server {
	p, err := private.Start(ctx, "", private.Options{Throwaway: true})
	if err != nil {
		return server{wrong: err}
	}
	stop := func(keep bool) error {
		if !keep {
			return p.Stop()
		}
		dir, err := os.MkdirTemp("", "rideout-kept-*")
		if err != nil {
			return errors.Join(err, p.Stop())
		}
		fmt.Printf("the server has stopped; its data are in %s\n", filepath.Join(dir, "postgres"))
		return p.StopKeeping(dir)
	}
	return server{kind: "private Postgres " + p.Version, url: p.URL(), stop: stop}
}

// keepLocal is for testcontainers, which reads it on its first use: it shall look for ports on this
// machine, and not start a helper from an image it would have to fetch.
func keepLocal() error {
	return errors.Join(os.Setenv("TESTCONTAINERS_HOST_OVERRIDE", "127.0.0.1"), os.Setenv("TESTCONTAINERS_RYUK_DISABLED", "true"))
}

// daemonHas tells whether a Docker daemon answers and has an image.
func daemonHas(ctx context.Context, image string) error {
	if err := keepLocal(); err != nil {
		return err
	}
	docker, err := testcontainers.NewDockerProvider(testcontainers.WithLogger(log.NewNoopLogger()))
	if err != nil {
		return err
	}
	defer docker.Close()
	_, err = docker.Client().ImageInspect(ctx, image)
	return err
}

func inContainer(ctx context.Context, image string) server {
	// Asked first, because an image that is missing would be fetched.
	if err := daemonHas(ctx, image); err != nil {
		return server{wrong: fmt.Errorf("container of %s: %w", image, err)}
	}
	const port = "5432/tcp"
	c, err := testcontainers.Run(ctx, image,
		testcontainers.WithLogger(log.NewNoopLogger()),
		testcontainers.WithEnv(map[string]string{
			"POSTGRES_USER": "rideout", "POSTGRES_PASSWORD": "rideout", "POSTGRES_DB": "rideout", "LIFETIME_S": "3600",
		}),
		testcontainers.WithCmd("-c", "fsync=off", "-c", "synchronous_commit=off", "-c", "full_page_writes=off", "-c", "max_connections=200"),
		testcontainers.WithExposedPorts(port),
		testcontainers.WithHostConfigModifier(func(host *container.HostConfig) {
			host.AutoRemove = true
			host.PortBindings = network.PortMap{network.MustParsePort(port): {{HostIP: netip.MustParseAddr("127.0.0.1")}}}
		}),
		testcontainers.WithWaitStrategyAndDeadline(startLimit,
			wait.ForLog("database system is ready to accept connections"), wait.ForListeningPort(port).SkipInternalCheck()),
	)
	end := func() error { return testcontainers.TerminateContainer(c, testcontainers.StopTimeout(0)) }
	if err != nil {
		return server{wrong: errors.Join(fmt.Errorf("container of %s: %w", image, err), end())}
	}
	endpoint, err := c.PortEndpoint(ctx, port, "")
	if err != nil {
		return server{wrong: errors.Join(err, end())}
	}
	stop := func(keep bool) error {
		if !keep {
			return end()
		}
		fmt.Printf("the container is kept: docker rm -f %.12s\n", c.GetContainerID())
		return nil
	}
	address := "postgres://rideout:rideout@" + endpoint + "/rideout?sslmode=disable"
	return server{kind: "container of " + image, url: address, stop: stop}
}
