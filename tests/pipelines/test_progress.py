from __future__ import annotations

import logging

import pytest

from lossmap.pipelines.progress import Fields, Stages, listen


def test_stages_are_timed_and_said(capsys):
    """Each stage's seconds are kept under its name, and one line goes to stderr."""
    listen(quiet=False, verbose=True)
    stage = Stages("creek", bar=False)
    with stage("read"):
        pass
    assert list(stage.seconds) == ["read"]
    assert capsys.readouterr().err.startswith("creek: read, 0.0")


def test_a_stage_that_fails_is_not_timed():
    """An error goes through and leaves no time behind."""
    stage = Stages("creek", bar=False)
    with pytest.raises(ValueError), stage("read"):
        raise ValueError
    assert stage.seconds == {}


def test_quiet_is_quiet(capsys):
    """-q leaves only what went wrong."""
    assert not listen(quiet=True, verbose=False)
    logging.getLogger("lossmap").info("nothing to see")
    logging.getLogger("lossmap").warning("something went wrong")
    assert capsys.readouterr().err == "something went wrong\n"


@pytest.mark.parametrize("quiet", [False, True])
def test_a_line_a_field_where_nobody_watches(capsys, quiet):
    """What was done with it, how long it took and how far we are; quiet, only what failed."""
    listen(quiet=quiet, verbose=False)
    with Fields(3, bar=False) as shown:
        shown("north/creek", "", True, 2.04)
        shown("hill", "", False, 0.01)
        shown("pond", "no such file", False, 0.0)
    said = ["north/creek: mapped, 2.0 s (1 of 3)", "hill: unchanged, taken over, 0.0 s (2 of 3)", "pond: no such file"]
    assert capsys.readouterr().err.splitlines() == (said[2:] if quiet else said)
    assert (shown.done, shown.failed) == (3, 1)


def test_a_bar_where_a_person_watches(capsys):
    """Counts stand on stderr while it runs, and a failure's words stay; markup in them is text."""
    with Fields(2, bar=True) as shown:
        shown("hill", "", True, 1.0)
        shown("[red]pond", "no [b]file", False, 0.0)
    out, err = capsys.readouterr()
    assert out == ""
    assert "[red]pond: no [b]file" in err
