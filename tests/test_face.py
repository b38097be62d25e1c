"""The public face: names, order, and loading on first touch."""

from __future__ import annotations

import subprocess
import sys

import pytest

import lossmap


def test_every_public_name_is_there():
    """__all__ names what can be had, once each."""
    assert len(set(lossmap.__all__)) == len(lossmap.__all__)
    for _ in range(2):  # loading a stage must not put its module in a verb's place
        for name in lossmap.__all__:
            assert name == "__version__" or callable(getattr(lossmap, name)), name


def test_an_unknown_name_is_an_attribute_error():
    """A misspelt name behaves like any module's."""
    with pytest.raises(AttributeError, match="has no attribute 'loses'"):
        lossmap.loses  # noqa: B018


def test_importing_lossmap_loads_no_stage():
    """`import lossmap` is cheap: stages load when first touched."""
    script = "import sys, lossmap\nprint(sorted(name for name in sys.modules if name.startswith('lossmap.')), 'numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[] False"
