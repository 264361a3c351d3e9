"""Runs the covermap command without what Windows lacks: modules, functions, rights over open files.

    python as_on_windows.py ARGUMENTS_OF_COVERMAP

Of Windows' own, msvcrt.locking alone stands in, made of this system's locks of bytes.
"""

import errno
import fcntl
import os
import signal
import struct
import subprocess  # before msvcrt is there, which it takes for a sign of Windows
import sys
import types

LACKING = (
    "O_CLOEXEC", "chown", "fork", "forkpty", "geteuid", "getgid", "getloadavg", "getpgid", "getuid", "killpg",
    "mkfifo", "nice", "posix_fadvise", "posix_fallocate", "pread", "pwrite", "setsid", "sysconf",
)  # fmt: skip


def locking(file, mode, count):
    """Lock bytes from the file's position on, as msvcrt.locking does."""
    assert (mode, count) == (2, 1)
    may_write = fcntl.fcntl(file, fcntl.F_GETFL) & os.O_ACCMODE != os.O_RDONLY
    kind = fcntl.F_WRLCK if may_write else fcntl.F_RDLCK  # Windows locks what is open for reading alone, too
    asked = struct.pack("hhqqi4x", kind, os.SEEK_SET, os.lseek(file, 0, os.SEEK_CUR), count, 0)
    try:
        fcntl.fcntl(file, fcntl.F_OFD_SETLK, asked)
    except BlockingIOError as error:
        raise PermissionError(errno.EACCES, "Permission denied") from error


def is_open(path):
    """Return whether this process has a file open, or one below a folder, or mapped."""
    path = os.path.realpath(path)
    there = []
    for file in os.listdir("/proc/self/fd"):
        try:
            there.append(os.readlink(f"/proc/self/fd/{file}"))
        except OSError:
            continue
    with open("/proc/self/maps", encoding="utf-8") as lines:
        there += [line.split(maxsplit=5)[5].rstrip("\n") for line in lines if line.count("/")]
    return any(one == path or one.startswith(path + "/") for one in there)


def refusing(function, count):
    """Return a function of the system that refuses, as Windows does, to move or remove open files."""

    def refused(*paths, **options):
        for path in paths[:count]:
            if not options.get("dir_fd") and os.path.exists(path) and is_open(path):
                raise PermissionError(errno.EACCES, "The file is in use", os.fspath(path))
        return function(*paths, **options)

    return refused


def become_windows():
    """Take away what Windows lacks."""
    sys.modules["fcntl"] = sys.modules["resource"] = None
    sys.modules["msvcrt"] = types.SimpleNamespace(LK_NBLCK=2, locking=locking)
    for name in LACKING:
        delattr(os, name)
    for name in ("SIGHUP", "SIGKILL"):
        delattr(signal, name)
    for name, count in (("replace", 2), ("rename", 2), ("unlink", 1), ("remove", 1)):
        setattr(os, name, refusing(getattr(os, name), count))


if __name__ == "__main__":
    assert not subprocess._mswindows
    become_windows()
    from covermap.cli import main

    main()
