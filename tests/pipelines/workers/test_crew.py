"""One interface for whoever works: items are handed out as work gets on, and a fault is told."""

from __future__ import annotations

import itertools

from planted_griefs import outcomes
from planted_tasks import act

from lossmap.pipelines.workers import worked, workers


def test_in_this_process():
    """No process and no limit: results in order, faults and lack of memory told."""
    with workers(0) as crew:
        found = outcomes(crew, [("double", 1), ("starve", 0), ("slip", 0), ("double", 2)])
    assert found == {("double", 1): 2, ("starve", 0): "memory", ("slip", 0): "fault", ("double", 2): 4}


def test_a_fault_says_where():
    """The program's own words and the place in it come along."""
    with workers(1) as crew:
        [(_, lost)] = worked(crew, act, [("slip", 0)], 10)
    assert lost.detail == "KeyError: 'planted'"
    assert "planted_tasks.py" in lost.trace


def test_items_are_taken_as_work_gets_on():
    """From a source without end, never more than the crew can have in hand."""
    taken = []

    def numbers():
        for n in itertools.count():
            taken.append(n)
            yield ("double", n)

    with workers(2) as crew:
        running = worked(crew, act, numbers(), 10)
        for done in range(1, 30):
            next(running)
            assert len(taken) <= done + 2


def test_alone_is_one_at_a_time():
    """Nothing else is in hand beside it."""
    taken = []

    def numbers():
        for n in range(5):
            taken.append(n)
            yield ("double", n)

    with workers(2) as crew:
        for done, _ in enumerate(worked(crew, act, numbers(), 10, alone=True), 1):
            assert len(taken) == done
