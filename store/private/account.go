package private

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	osuser "os/user"
	"path/filepath"
	"strconv"
	"syscall"
)

// account is who the server runs as. Postgres refuses to run as root.
type account struct {
	name     string
	uid, gid int
	drop     bool // we are root, and it is not
}

// ownerOrSelf returns who serves a cluster: its owner, which is the caller unless that is root.
func ownerOrSelf(cluster string) (account, error) {
	owner, err := ownerOf(cluster)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return newOwner()
	case err != nil:
		return account{}, err
	case owner.uid == os.Geteuid() || owner.uid == 0: // root's own is one that initdb has not filled
		return newOwner()
	case os.Geteuid() == 0:
		return owner, nil
	}
	return account{}, fmt.Errorf("%s belongs to %s and we are uid %d", cluster, owner.name, os.Geteuid())
}

// newOwner returns who serves a new cluster: the caller, or for root, postgres or nobody.
func newOwner() (account, error) {
	if uid := os.Geteuid(); uid != 0 {
		return account{name: "uid " + strconv.Itoa(uid), uid: uid, gid: os.Getegid()}, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := osuser.Lookup(name)
		if err != nil {
			continue
		}
		uid, err1 := strconv.Atoi(u.Uid)
		gid, err2 := strconv.Atoi(u.Gid)
		return account{name, uid, gid, true}, errors.Join(err1, err2)
	}
	return account{}, errors.New("postgres does not run as root, and here is no account postgres or nobody")
}

func ownerOf(path string) (account, error) {
	info, err := os.Lstat(path)
	if err != nil {
		return account{}, err
	}
	stat := info.Sys().(*syscall.Stat_t)
	return account{"uid " + strconv.Itoa(int(stat.Uid)), int(stat.Uid), int(stat.Gid), true}, nil
}

// mkdir makes a directory only the account can enter.
func (a account) mkdir(path string) error {
	if err := os.Mkdir(path, 0o700); err != nil || !a.drop {
		return err
	}
	return os.Chown(path, a.uid, a.gid)
}

// canEnter tells which directory on the way stops the account, such as a home with mode 0700.
func (a account) canEnter(path string) error {
	if !a.drop {
		return nil
	}
	for dir := path; ; dir = filepath.Dir(dir) {
		info, err := os.Stat(dir)
		if err != nil {
			return err
		}
		stat := info.Sys().(*syscall.Stat_t)
		open := info.Mode().Perm()&0o001 != 0 || int(stat.Uid) == a.uid
		if !open {
			return fmt.Errorf("postgres runs as %s, which cannot enter %s (%v): take a data directory outside of it", a.name, dir, info.Mode())
		}
		if dir == filepath.Dir(dir) {
			return nil
		}
	}
}
