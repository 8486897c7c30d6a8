"""What the benches share: a command line made of a script's own words, the machine, and the middle of several times."""

import argparse
import os
import platform
import statistics
import time
from pathlib import Path

__all__ = ["command_line", "machine", "numbers", "resident_mb", "timed"]


def command_line(words: str) -> argparse.ArgumentParser:
    """A parser that shows a script's docstring as it is written."""
    return argparse.ArgumentParser(description=words, formatter_class=argparse.RawDescriptionHelpFormatter)


def numbers(text: str, kind: type = int) -> list:
    """Numbers of a list such as "1,3,12"; none of an empty one."""
    return [kind(word) for word in text.split(",") if word]


def machine() -> str:
    """What a figure was taken on."""
    load = f"load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "load unknown"
    return f"{platform.machine()}, {os.cpu_count()} cores, {load}, Python {platform.python_version()}"


def timed(work, repeats: int) -> float:
    """Median seconds of a call."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def resident_mb(pid: int | str = "self") -> float:
    """Memory that a process holds, Linux only."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS"))
