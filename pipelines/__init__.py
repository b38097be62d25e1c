"""In what order, for which fields, on which machines: the flows that `lossmap` runs."""

__all__ = ["ONE_THREAD"]

#: What holds the libraries of linear algebra to one thread, where it stands in the environment before they load.
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
