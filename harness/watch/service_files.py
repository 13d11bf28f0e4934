"""The files by which an operating system starts the daemon: a systemd unit, a logon task.

Pure. The unit is the user's own (systemd.unit(5), systemd.service(5)): what is measured needs
the user's session, screen and settings. The task is for Windows (Task Scheduler schema 1.2): a
service there lives in session 0, which has no desktop and no 3D.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape

UNIT = "bench-harness.service"
TASK = "Bench Harness"

_UNIT = """\
[Unit]
Description=Bench Harness: the watch over this rig
# However often it has to be started again: it is the night's only watch.
StartLimitIntervalSec=0

[Service]
Type=notify
NotifyAccess=main
{environment}\
ExecStart={command}
Restart=always
RestartSec=30
# Asked wrongly (rig.yaml has mistakes): to start again would not help.
RestartPreventExitStatus=2
WatchdogSec=90
# Leaves a trace of where it hung.
WatchdogSignal=SIGABRT
# The daemon is told to stop, and stops its runner, which records the pass as interrupted. What
# is left after the time is killed.
KillMode=mixed
TimeoutStopSec=60
# The runner ends a command's whole tree through a control group of its own.
Delegate=yes
# Not PrivateTmp: a title's files and its screen are in the /tmp that everybody sees. Neither
# Nice nor CPUAffinity: what is measured would inherit them.

[Install]
WantedBy=default.target
"""

_TASK = """\
<?xml version="1.0" encoding="UTF-16"?>
<Task version="1.2" xmlns="http://schemas.microsoft.com/windows/2004/02/mit/task">
  <Triggers><LogonTrigger><UserId>{user}</UserId></LogonTrigger></Triggers>
  <Principals>
    <Principal id="Author">
      <UserId>{user}</UserId>
      <LogonType>InteractiveToken</LogonType>
      <RunLevel>HighestAvailable</RunLevel>
    </Principal>
  </Principals>
  <Settings>
    <MultipleInstancesPolicy>IgnoreNew</MultipleInstancesPolicy>
    <DisallowStartIfOnBatteries>false</DisallowStartIfOnBatteries>
    <StopIfGoingOnBatteries>false</StopIfGoingOnBatteries>
    <ExecutionTimeLimit>PT0S</ExecutionTimeLimit>
    <RestartOnFailure><Interval>PT1M</Interval><Count>10</Count></RestartOnFailure>
  </Settings>
  <Actions Context="Author">
    <Exec><Command>{program}</Command><Arguments>{arguments}</Arguments></Exec>
  </Actions>
</Task>
"""


def systemd_unit(command: Sequence[str], *, environment: Mapping[str, str]) -> str:
    """Return the text of the unit that starts *command*.

    Args:
        command: The program, absolute, and its arguments.
        environment: What it is given beside what the user's service manager has; ``PATH``
            must be in it, for a plan's commands are looked up there.
    """
    lines = "".join(
        f"Environment={_quoted(f'{name}={text}')}\n" for name, text in sorted(environment.items())
    )
    # In a command, and only there, a dollar begins a variable (systemd.service(5)).
    words = (_quoted(part.replace("$", "$$")) for part in command)
    return _UNIT.format(environment=lines, command=" ".join(words))


def logon_task(command: Sequence[str], *, user: str) -> str:
    """Return the text of the task that starts *command* when *user* logs on."""
    arguments = " ".join(f'"{part}"' if " " in part else part for part in command[1:])
    return _TASK.format(user=escape(user), program=escape(command[0]), arguments=escape(arguments))


def _quoted(text: str) -> str:
    r"""Return *text* as systemd reads it back: specifiers and quotes are escaped.

    >>> _quoted("/opt/a b/100%")
    '"/opt/a b/100%%"'
    """
    text = text.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%")
    return f'"{text}"' if any(c.isspace() or c in "\"'\\" for c in text) else text
