//go:build unix

// Package postgrestest starts a PostgreSQL server for tests: from the system's own package, in a folder
// of its own, on a Unix socket in that folder alone.
package postgrestest

import (
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"syscall"
	"time"
)

// A Cluster is a running server.
type Cluster struct {
	Folder string // of its data and its socket
	bin    string
	as     *syscall.Credential // whom it runs as; nil for whoever runs the test
}

// Start makes a server and waits until it answers.
func Start() (c *Cluster, err error) {
	c = &Cluster{}
	if c.bin, err = programs(); err != nil {
		return nil, err
	}
	// Not in the test's own folder, which another user may not enter, and whose name may be longer than
	// a socket's may be (107 bytes).
	if c.Folder, err = os.MkdirTemp("", "pg"); err != nil {
		return nil, err
	}
	if err := c.make(); err != nil {
		return nil, errors.Join(err, os.RemoveAll(c.Folder))
	}
	if err := c.watch(); err != nil {
		return nil, errors.Join(err, os.RemoveAll(c.Folder))
	}
	return c, c.Restart()
}

// watch has the server stopped where the test is killed, as by its time limit, and cannot stop it.
func (c *Cluster) watch() error {
	const until = `while ps -p "$1" >/dev/null; do sleep 2; done
		"$2/pg_ctl" --pgdata="$3/data" --mode=immediate stop
		rm -rf "$3"`
	cmd := exec.Command("sh", "-c", until, "sh", strconv.Itoa(os.Getpid()), c.bin, c.Folder)
	cmd.Dir = "/"
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: c.as, Setsid: true}
	return cmd.Start() // it outlives the test by up to two seconds
}

// programs is the folder of initdb and pg_ctl, of the latest version there is.
func programs() (string, error) {
	if name, err := exec.LookPath("initdb"); err == nil {
		return filepath.Dir(name), nil
	}
	there, _ := filepath.Glob("/usr/lib/postgresql/*/bin/initdb") // where Debian keeps them
	if len(there) == 0 {
		return "", errors.New("these tests start a PostgreSQL server, which is not installed: apt-get install postgresql")
	}
	slices.Sort(there)
	return filepath.Dir(there[len(there)-1]), nil
}

func (c *Cluster) make() error {
	if os.Geteuid() == 0 { // whom initdb refuses
		for _, name := range []string{"postgres", "nobody"} {
			u, err := user.Lookup(name)
			if err != nil {
				continue
			}
			uid, _ := strconv.Atoi(u.Uid)
			gid, _ := strconv.Atoi(u.Gid)
			c.as = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
			if err := os.Chown(c.Folder, uid, gid); err != nil {
				return err
			}
			break
		}
	}
	return c.run("initdb", "--username=owner", "--auth=trust", "--encoding=UTF8", "--locale=C.UTF-8", "--no-sync", "--no-instructions", filepath.Join(c.Folder, "data"))
}

func (c *Cluster) run(program string, args ...string) error {
	cmd := exec.Command(filepath.Join(c.bin, program), args...)
	cmd.Dir = c.Folder
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: c.as}
	log, err := os.CreateTemp("", "pg-log-*") // a pipe would be held open by the server
	if err != nil {
		return err
	}
	defer os.Remove(log.Name())
	defer log.Close()
	cmd.Stdout, cmd.Stderr = log, log
	if err := cmd.Run(); err != nil {
		said, _ := os.ReadFile(log.Name())
		return fmt.Errorf("%s: %w: %s", program, err, said)
	}
	return nil
}

// Restart starts the server, also after Kill.
func (c *Cluster) Restart() error {
	// The tests kill programs, not the power: what is written is not forced onto the disk.
	options := "-c listen_addresses='' -c unix_socket_directories='" + c.Folder + "' -c fsync=off -c full_page_writes=off -c max_connections=60 -c shared_buffers=64MB -c logging_collector=off"
	return c.run("pg_ctl", "--pgdata="+filepath.Join(c.Folder, "data"), "--log="+filepath.Join(c.Folder, "log"), "--wait", "--timeout=60", "--options="+options, "start")
}

// Kill stops the server at once, as if it had crashed: what no client was told is kept need not be.
func (c *Cluster) Kill() error {
	return c.run("pg_ctl", "--pgdata="+filepath.Join(c.Folder, "data"), "--mode=immediate", "--wait", "stop")
}

// Stop stops the server and removes its folder.
func (c *Cluster) Stop() error {
	err := c.Kill()
	time.Sleep(10 * time.Millisecond)
	return errors.Join(err, os.RemoveAll(c.Folder))
}

// Address is that of a database, as a user.
func (c *Cluster) Address(database, user string) string {
	return "postgres://" + user + "@/" + database + "?host=" + url.QueryEscape(c.Folder)
}
