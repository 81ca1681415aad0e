package private

import (
	"errors"
	"os/exec"
	"runtime"
	"syscall"
	"time"
)

// process is a child that ends when we end.
type process struct {
	cmd  *exec.Cmd
	done chan struct{} // closed when it has ended
	err  error         // how it ended; read it after done
}

const stopLimit = 30 * time.Second

func start(cmd *exec.Cmd, a account, dir string) (*process, error) {
	cmd.Dir = dir // ours may be one the account cannot enter
	// A group of its own: Ctrl-C at the terminal is for us, who end it after the last request.
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	dieWithParent(cmd.SysProcAttr)
	if a.drop {
		cmd.SysProcAttr.Credential = &syscall.Credential{Uid: uint32(a.uid), Gid: uint32(a.gid)}
	}
	p := &process{cmd: cmd, done: make(chan struct{})}
	started := make(chan error)
	go func() {
		// The death signal is sent when the thread that started the child ends, so this
		// goroutine keeps its thread for as long as the child lives.
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := cmd.Start()
		started <- err
		if err == nil {
			p.err = cmd.Wait()
			close(p.done)
		}
	}()
	if err := <-started; err != nil {
		return nil, err
	}
	return p, nil
}

// stop asks for a fast shutdown, which breaks off sessions and writes what is committed.
func (p *process) stop() error {
	for _, signal := range []syscall.Signal{syscall.SIGINT, syscall.SIGQUIT, syscall.SIGKILL} {
		select {
		case <-p.done:
			return nil
		default:
		}
		if err := p.cmd.Process.Signal(signal); err != nil {
			<-p.done // it ended in between
			return nil
		}
		select {
		case <-p.done:
			return nil
		case <-time.After(stopLimit):
		}
	}
	return errors.New("postgres does not end")
}
