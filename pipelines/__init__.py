"""In what order, for which fields, on which machines: the flows that `lossmap` runs."""

import locale
import os
from contextlib import suppress

__all__ = ["ONE_THREAD", "plain_process"]

#: What holds the libraries of linear algebra to one thread, where it stands in the environment before they load.
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")


def plain_process() -> None:
    """One thread in this process and its children, and letters as C has them.

    GDAL orders and finds its names by the locale's letters, and in Turkish and Azeri a small I is no i.
    """
    os.environ.update(ONE_THREAD)
    with suppress(locale.Error):
        if locale.setlocale(locale.LC_CTYPE).startswith(("tr", "az")):
            os.environ["LC_ALL"] = "C.UTF-8"  # for children, which load GDAL before they can be asked anything
            locale.setlocale(locale.LC_CTYPE, "C.UTF-8")
