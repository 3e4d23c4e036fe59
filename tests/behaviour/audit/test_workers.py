"""`map` over several processes: as `map`, and gone afterwards."""

from __future__ import annotations

import math
import multiprocessing
import signal
import subprocess
import sys

import pytest

from slackwater.audit.workers import workers
from ward.until import LONG_S

INTERRUPTED_AS_IT_BEGINS = """
import multiprocessing, os, signal, time
from slackwater.audit.workers import workers

if __name__ == "__main__":
    for after_s in (0.06, 0.1, 0.2):  # an interpreter starts, loads, begins
        with workers(2) as over:
            started = multiprocessing.active_children()
            time.sleep(after_s)
            for one in started:
                os.kill(one.pid, signal.SIGINT)
            for one in started:
                one.join()
            assert {one.exitcode for one in started} == {-signal.SIGINT}
"""


def test_results_come_in_order_whatever_the_number_of_items() -> None:
    with workers(2) as over:
        for items in ([], [4], list(range(40))):
            assert list(over(math.sqrt, items)) == [math.sqrt(item) for item in items]


def test_one_is_map_itself() -> None:
    with workers(1) as over:
        assert over is map


def test_a_fault_there_is_raised_here_and_leaves_no_process() -> None:
    with pytest.raises(ValueError, match="math domain error"), workers(2) as over:
        list(over(math.sqrt, [1.0, -1.0, 4.0]))
    assert multiprocessing.active_children() == []


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="an interrupt is sent otherwise there")
def test_an_interrupt_before_a_process_has_begun_ends_it_without_a_word() -> None:
    """It is heard while the process still loads: an interrupt at the terminal reaches all at once."""
    ran = subprocess.run(
        [sys.executable, "-c", INTERRUPTED_AS_IT_BEGINS], capture_output=True, text=True, timeout=LONG_S, check=False
    )
    assert (ran.returncode, ran.stderr) == (0, "")
