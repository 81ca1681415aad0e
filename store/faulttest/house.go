package faulttest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"
)

// house is the service as people run it: the binary, its environment and its log.
type house struct {
	binary, dir, addr string
	environment       []string
	prefix            []string // what the binary is started by, such as prlimit

	mu     sync.Mutex
	cmd    *exec.Cmd
	ended  chan struct{}
	err    error
	starts int
}

func newHouse(dir string, o Options, databasePort int) (*house, error) {
	// A port that is free now: a service that comes back after a kill has the same.
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	addr := listener.Addr().String()
	listener.Close()
	h := &house{binary: o.Binary, dir: dir, addr: addr}
	h.environment = append(os.Environ(),
		"DATABASE_URL="+lineURL(databasePort), "RIDEOUT_ADDR="+addr, "RIDEOUT_LOG_KEY_FILE="+filepath.Join(dir, "log.key"),
		"RIDEOUT_LIMIT_KEY=0", "RIDEOUT_LIMIT_ORGANISATION=0", "RIDEOUT_LIMIT_RESCUE=0", "RIDEOUT_LIMIT_EMERGENCY=0",
		"RIDEOUT_BUDGET=8s", // the machine is busy, and how fast it computes is not asked here
		"RIDEOUT_GRACE=10s", "GOTRACEBACK=all", "RIDEOUT_FAULT_DIR="+dir)
	if o.Webhooks {
		file, err := letSecretsBe(dir)
		if err != nil {
			return nil, err
		}
		h.environment = append(h.environment, "RIDEOUT_SECRETS_KEY_FILE="+file, "RIDEOUT_WEBHOOK_NETWORKS=127.0.0.1/32")
	}
	if o.Connections > 0 {
		h.environment = append(h.environment, "RIDEOUT_DATABASE_CONNECTIONS="+strconv.Itoa(o.Connections))
	}
	h.environment = append(h.environment, o.Environment...)
	_, err = h.run(context.Background(), "", "log-key", "--new", "--file", filepath.Join(dir, "log.key"), "--name", "faults")
	return h, err
}

// run runs a subcommand, with a key if it asks for one, and gives what it prints.
func (h *house) run(ctx context.Context, key string, args ...string) (string, error) {
	cmd := exec.CommandContext(ctx, h.binary, args...)
	cmd.Env = append(slices.Clone(h.environment), "RIDEOUT_KEY="+key)
	var out, said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &said
	if err := cmd.Run(); err != nil {
		return out.String(), fmt.Errorf("rideout %s: %w: %s%s", args[0], err, out.String(), said.String())
	}
	return strings.TrimSpace(out.String()), nil
}

// party makes an organisation and its key.
func (h *house) party(ctx context.Context, name string) (*party, error) {
	key, err := h.run(ctx, "", "key", "--organisation", name, "--scopes", "plans:read,plans:write,registers:write,outcomes:write,incidents:write,audit:read,admin")
	if err != nil {
		return nil, err
	}
	word, _, _ := strings.Cut(strings.ToLower(name), " ")
	return &party{name: name, mark: word, key: key}, nil
}

// logFile is what the service of the last start wrote.
func (h *house) logFile() string {
	return filepath.Join(h.dir, fmt.Sprintf("service-%d.log", h.starts))
}

// launch starts the service and does not wait for it.
func (h *house) launch() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.starts++
	log, err := os.Create(h.logFile())
	if err != nil {
		return err
	}
	defer log.Close() // the child has its own
	words := append(append([]string{}, h.prefix...), h.binary, "serve")
	cmd := exec.Command(words[0], words[1:]...)
	cmd.Env, cmd.Stderr = h.environment, log
	if err := cmd.Start(); err != nil {
		return err
	}
	ended := make(chan struct{})
	h.cmd, h.ended = cmd, ended
	go func() {
		err := cmd.Wait()
		h.mu.Lock()
		h.err = err
		h.mu.Unlock()
		close(ended)
	}()
	return nil
}

// start starts the service and waits until it is ready.
func (h *house) start(ctx context.Context) error {
	if err := h.launch(); err != nil {
		return err
	}
	return h.ready(ctx, time.Minute)
}

func (h *house) ready(ctx context.Context, limit time.Duration) error {
	end := time.Now().Add(limit)
	for time.Now().Before(end) && ctx.Err() == nil {
		select {
		case <-h.ended:
			return fmt.Errorf("the service ended while starting: %s", h.tail())
		default:
		}
		if status, _ := readyz(ctx, h.addr); status == http.StatusOK {
			return nil
		}
		sleep(ctx, 20*time.Millisecond)
	}
	return fmt.Errorf("the service is not ready after %v: %s", limit, h.tail())
}

// tail is the end of the log.
func (h *house) tail() string {
	text, err := os.ReadFile(h.logFile())
	if err != nil {
		return err.Error()
	}
	return string(text[max(0, len(text)-800):])
}

func (h *house) signal(s syscall.Signal) { _ = h.cmd.Process.Signal(s) } // it may have ended

// wait waits for the end and gives how it ended.
func (h *house) wait(limit time.Duration) error {
	select {
	case <-h.ended:
		h.mu.Lock()
		defer h.mu.Unlock()
		return h.err
	case <-time.After(limit):
		return errors.New("it does not end")
	}
}

func (h *house) hasEnded() bool {
	select {
	case <-h.ended:
		return true
	default:
		return false
	}
}

func (h *house) kill() {
	if h.cmd == nil {
		return
	}
	h.signal(syscall.SIGKILL)
	_ = h.wait(10 * time.Second) // killed is how it ends
}

// files counts what the service has open.
func (h *house) files() int {
	open, err := os.ReadDir(fmt.Sprintf("/proc/%d/fd", h.cmd.Process.Pid))
	if err != nil {
		return -1
	}
	return len(open)
}

var goroutine = regexp.MustCompile(`(?m)^goroutine \d+ `)

// goroutines ends the service by SIGQUIT, on which the Go runtime prints what every goroutine does, and counts them.
func (h *house) goroutines() (count int, dump string) {
	h.signal(syscall.SIGQUIT)
	_ = h.wait(20 * time.Second) // exit code 2
	text, _ := os.ReadFile(h.logFile())
	return len(goroutine.FindAll(text, -1)), string(text)
}

// readyz asks whether the service is ready; 0: nobody answers.
func readyz(ctx context.Context, addr string) (status int, took time.Duration) {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	begun := time.Now()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+addr+"/readyz", nil)
	if err != nil {
		return 0, 0
	}
	request.Close = true
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return 0, time.Since(begun)
	}
	answer.Body.Close()
	return answer.StatusCode, time.Since(begun)
}
