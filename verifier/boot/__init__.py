"""Having the system start the service: one file for it, and the line that makes it known."""

from verifier.boot.launchd import launch_agent
from verifier.boot.start import StartFile, start_name, watch_words
from verifier.boot.systemd import user_unit
from verifier.boot.windows import scheduled_task

__all__ = ["StartFile", "launch_agent", "scheduled_task", "start_name", "user_unit", "watch_words"]
