"""Many photos at once: an archive of cards, scored unattended.

In the order things happen: ``sources`` finds the photos, ``manifest`` and ``expectations`` say what
each should show, ``scheduler`` has them scored by an engine of ``engines`` (this process, a pool of
processes, a cluster), ``scoring`` is what a worker does with one photo, ``journal`` keeps every
finished photo at once, and ``outcome`` writes ``records`` and tables (``columns``, ``tables``), the
contact sheet (``gallery``) and the plots at the end from the journal. `run.run_batch` ties them
together.

One photo, one record, always; a photo that fails is a record with stage, message and hint. Records
do not depend on the engine: serial, parallel and cluster give the same bytes.
"""

from typing import Final

ONE_THREAD: Final = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
"""Variables that hold the linear algebra under NumPy to one thread, read when it is imported."""
