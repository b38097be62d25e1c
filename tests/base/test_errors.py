"""Every way lossmap says no: the tree, its exit codes, its wording."""

from __future__ import annotations

import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lossmap.base import errors
from lossmap.base.errors import LossmapError, near, shown

TREE = {
    errors.SettingsError: (ValueError, 2),
    errors.ReadError: (OSError, 3),
    errors.WriteError: (OSError, 2),
    errors.TableError: (ValueError, 3),
    errors.TooLittleData: (ValueError, 3),
    errors.NoReference: (LookupError, 2),
}


@pytest.mark.parametrize("kind", TREE, ids=lambda kind: kind.__name__)
def test_each_error_is_ours_and_the_builtin_one_expects(kind: type[LossmapError]) -> None:
    """A caller may catch LossmapError or the built-in kind; the exit code is the contract's."""
    builtin, code = TREE[kind]
    assert issubclass(kind, LossmapError)
    assert issubclass(kind, builtin)
    assert kind.exit_code == code


def test_the_tree_is_whole() -> None:
    """No error class of the module is missing above, and each is public and drawn on top of the file."""
    classes = {value for value in vars(errors).values() if isinstance(value, type) and issubclass(value, LossmapError)}
    assert classes == {LossmapError, *TREE}
    assert {kind.__name__ for kind in classes} <= set(errors.__all__)
    assert all(kind.__name__ in (errors.__doc__ or "") for kind in classes)


@pytest.mark.parametrize("kind", TREE, ids=lambda kind: kind.__name__)
def test_errors_survive_a_trip_between_processes(kind: type[LossmapError]) -> None:
    """Pickled and back: same class, same words, same exit code."""
    sent = kind("creek/points.csv, row 214: speed is not a number")
    come = pickle.loads(pickle.dumps(sent))
    assert type(come) is kind
    assert str(come) == str(sent)
    assert come.exit_code == sent.exit_code


def test_near_offers_the_nearest_word() -> None:
    """One near word is offered; with none near, all that are known, in order."""
    assert near("max_sped", ["max_speed", "turn"]) == "did you mean max_speed?"
    assert near("qqq", ["turn", "cell"]) == "known: cell, turn"


@given(st.text(), st.integers(min_value=1, max_value=200))
def test_what_is_shown_is_short_and_on_one_line(text: str, most: int) -> None:
    """Whatever a file holds, in a message it is printable, on one line and never longer than allowed."""
    said = shown(text, most)
    assert len(said) <= most
    assert said.isprintable()


def test_short_words_are_shown_as_they_are() -> None:
    """What is printable and short is not touched; a control character is."""
    assert shown("Mass flow (lb/s)") == "Mass flow (lb/s)"
    assert shown("a\x1b[31mb") == "a�[31mb"
