"""What a benchmark found as rows: on the screen and in a README as Markdown, in a folder as CSV."""

import os
import platform
from dataclasses import astuple, dataclass
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

_PACKAGES = ("numpy", "CoolProp", "optuna", "pymoo", "moocore")
HEAD = ("what", "measured", "how")


@dataclass(frozen=True)
class Row:
    """One line of the table: what was measured, the value with its unit, and how."""

    what: str
    measured: str
    how: str = ""

    @property
    def markdown(self) -> str:
        return "| " + " | ".join(text.replace("|", "\\|") for text in astuple(self)) + " |"


def markdown_head() -> str:
    """The two lines above the rows."""
    return "| " + " | ".join(HEAD) + " |\n| --- | ---: | --- |"


def processor() -> str:
    """The processor's name as the system tells it."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        lines = []
    named = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return named[0] if named else platform.processor() or platform.machine()


def machine(now: datetime) -> str:
    """Processor, cores, load, versions and day in one line."""
    load = f", load {os.getloadavg()[0]:.1f} when it began" if hasattr(os, "getloadavg") else ""
    versions = ", ".join([f"Python {platform.python_version()}", *(f"{p} {_version(p)}" for p in _PACKAGES)])
    day = now.astimezone(UTC).date().isoformat()
    return f"{processor()}, {os.cpu_count()} cores{load}; {platform.system()}; {versions}; {day}"


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "absent"
