from __future__ import annotations

import logging

import pytest

from lossmap.pipelines.progress import Stages, listen


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
