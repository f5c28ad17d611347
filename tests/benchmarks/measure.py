"""Processor time, not the wall's: what else runs on the machine counts little. Best of several."""

from __future__ import annotations

import os
import resource
import subprocess
import time
from collections.abc import Callable, Sequence


def best_s(action: Callable[[], object], tries: int = 5) -> float:
    """Least processor seconds of this process over several runs of `action`."""
    times = []
    for _ in range(tries):
        start = time.process_time()
        action()
        times.append(time.process_time() - start)
    return min(times)


def best_of_program_s(command: Sequence[str], tries: int = 9) -> float:
    """Least processor seconds of a program, from its start to its end."""
    times = []
    for _ in range(tries):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        times.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(times)


def used_s(pid: int) -> float:
    """Processor seconds that a running process has used so far (Linux)."""
    with open(f"/proc/{pid}/stat", encoding="ascii") as file:  # noqa: PTH123
        fields = file.read().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
