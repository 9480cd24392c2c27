"""A task for the Windows Task Scheduler (its XML schema, version 1.2). Made from the schema; not tried on Windows."""

import subprocess
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from pathlib import Path

from verifier.boot.start import StartFile, start_name

SCHEMA = "http://schemas.microsoft.com/windows/2004/02/mit/task"
# The order is the schema's: triggers, who, how, what.
SETTINGS = {
    "MultipleInstancesPolicy": "IgnoreNew",
    "DisallowStartIfOnBatteries": "false",
    "StopIfGoingOnBatteries": "false",
    "ExecutionTimeLimit": "PT0S",  # none: the service runs until it is stopped
    "Enabled": "true",
}


def scheduled_task(bench: Path, words: Sequence[str], settings: Path, user: str) -> StartFile:
    """The task for a bench. It starts with the machine, as the person (DOMAIN\\NAME), without a window or a password.

    settings : the person's folder of local settings, %LOCALAPPDATA%
    """
    name = start_name(bench)
    path = settings / "verifier" / f"{name}.xml"
    return StartFile(
        path=path,
        text=_text(bench, words, user),
        encoding="utf-16",  # what schtasks writes and reads
        commands=(
            "rem in a window opened as administrator:",
            subprocess.list2cmdline(["schtasks", "/Create", "/TN", name, "/XML", str(path)]),
            f"schtasks /Run /TN {name}",
        ),
        stop=(f"schtasks /End /TN {name}", f"schtasks /Delete /TN {name}"),
    )


def _text(bench: Path, words: Sequence[str], user: str) -> str:
    task = ET.Element("Task", {"version": "1.2", "xmlns": SCHEMA})
    _with(ET.SubElement(task, "RegistrationInfo"), {"Description": f"Verifier watching {bench}"})
    _with(ET.SubElement(ET.SubElement(task, "Triggers"), "BootTrigger"), {"Enabled": "true"})
    principal = ET.SubElement(ET.SubElement(task, "Principals"), "Principal", {"id": "Author"})
    _with(principal, {"UserId": user, "LogonType": "S4U", "RunLevel": "LeastPrivilege"})
    how = _with(ET.SubElement(task, "Settings"), SETTINGS)
    _with(ET.SubElement(how, "RestartOnFailure"), {"Interval": "PT1M", "Count": "255"})
    action = ET.SubElement(ET.SubElement(task, "Actions", {"Context": "Author"}), "Exec")
    _with(action, {"Command": words[0], "Arguments": subprocess.list2cmdline(words[1:])})
    ET.indent(task)
    return '<?xml version="1.0" encoding="UTF-16"?>\n' + ET.tostring(task, encoding="unicode") + "\n"


def _with(element: ET.Element, texts: dict[str, str]) -> ET.Element:
    for name, text in texts.items():
        ET.SubElement(element, name).text = text
    return element
