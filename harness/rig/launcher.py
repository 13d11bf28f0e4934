"""Become a command whose life is tied to the runner's.

Touches processes. Started by path in a bare interpreter, never imported:
``launcher.py STATUS_FD RUNNER_PID CORES NICENESS ENTRANCE FOLDER COMMAND [ARGUMENT …]``.

The runner cannot do this between fork and exec without running Python there, which costs
60 ms in a large process and may hang in one with threads. So this small program is spawned
in the command's place, ties itself to the runner, undoes what the runner set for itself, and
becomes the command. It tells the runner ``started NANOSECONDS`` on the steady clock just
before, and ``failed ERRNO STAGE`` where it could not; the descriptor closes by itself at
that moment, so that the start of the command is known to the microsecond.
"""

from __future__ import annotations

import os
import sys
import time
from _ctypes import call_function, dlopen, dlsym  # ctypes itself takes 6 ms of each pass more

PR_SET_PDEATHSIG = 1  # linux/prctl.h
SIGKILL, SIGPIPE, SIGXFSZ = 9, 13, 25  # the signal module costs more than all of this


def become(arguments: list[str]) -> None:
    """Become the command of *arguments*; return only by ending the process."""
    status_fd, runner = int(arguments[0]), int(arguments[1])
    os.set_inheritable(status_fd, False)
    stage = "tie"
    try:
        libc = dlopen("", 0)
        call_function(dlsym(libc, "prctl"), (PR_SET_PDEATHSIG, SIGKILL, 0, 0, 0))
        if os.getppid() != runner:
            # The runner died before its death could be noticed.
            os._exit(1)
        for ignored in (SIGPIPE, SIGXFSZ):
            # The interpreter ignores these, and a command would inherit that.
            call_function(dlsym(libc, "signal"), (ignored, None))
        stage = "priority"
        cores = {int(core) for core in arguments[2].split(",")}
        own = os.sched_getaffinity(0)
        if cores != own:
            # This began on the runner's core, and the kernel leaves a busy thread where it is: it
            # is sent off first, or whatever the runner does interrupts it.
            os.sched_setaffinity(0, cores - own or cores)
            os.sched_setaffinity(0, cores)
        if int(arguments[3]) != os.getpriority(os.PRIO_PROCESS, 0):
            os.setpriority(os.PRIO_PROCESS, 0, int(arguments[3]))
        if arguments[4]:
            stage = "group"
            entrance = os.open(arguments[4], os.O_WRONLY)
            os.write(entrance, b"0")
            os.close(entrance)
        stage = "folder"
        os.chdir(arguments[5])
        stage = "start"
        os.write(status_fd, b"started %d\n" % time.clock_gettime_ns(time.CLOCK_BOOTTIME))
        os.execvp(arguments[6], arguments[6:])
    except OSError as error:
        os.write(status_fd, b"failed %d %s\n" % (error.errno or 0, stage.encode()))
    os._exit(127)


if __name__ == "__main__":
    become(sys.argv[1:])
