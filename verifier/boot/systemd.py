"""A user unit for systemd (systemd.service(5)): ready when the bench is watched, restarted when it hangs or crashes."""

import re
import shlex
from collections.abc import Sequence
from pathlib import Path

from verifier.boot.start import StartFile, start_name

# A look takes milliseconds, and seconds while a file of 2 GiB is hashed on a slow disk. Half of this is the beat.
WATCHDOG_S = 120
# A bench that is not in order (64) or watched already (75) is not put right by starting again.
NOT_RESTARTED = (64, 75)


def user_unit(bench: Path, words: Sequence[str], config: Path) -> StartFile:
    """The unit for a bench; config is the person's folder of settings, $XDG_CONFIG_HOME or ~/.config."""
    name = f"{start_name(bench)}.service"
    path = config / "systemd" / "user" / name
    return StartFile(
        path=path,
        text=_text(bench, words),
        encoding="utf-8",
        commands=(
            "systemctl --user daemon-reload",
            f"systemctl --user enable --now {shlex.quote(name)}",
            "loginctl enable-linger  # starts with the machine instead of with your log-in",
        ),
        stop=(f"systemctl --user disable --now {shlex.quote(name)}", f"rm {shlex.quote(str(path))}"),
    )


def _text(bench: Path, words: Sequence[str]) -> str:
    return f"""\
[Unit]
Description=Verifier of {_percent(str(bench))} (folder watch)

[Service]
Type=notify
NotifyAccess=main
ExecStart={" ".join(map(_quoted, words))}
WatchdogSec={WATCHDOG_S}
Restart=on-failure
RestartSec=5
RestartPreventExitStatus={" ".join(map(str, NOT_RESTARTED))}
KillMode=mixed
TimeoutStopSec=30

[Install]
WantedBy=default.target
"""


def _quoted(word: str) -> str:
    """A word of ExecStart=, with nothing in it taken for a quote, a specifier or a variable (systemd.syntax(7))."""
    return '"' + re.sub(r'(["\\])', r"\\\1", _percent(word).replace("$", "$$")) + '"'


def _percent(text: str) -> str:
    return text.replace("%", "%%")
