"""Many small sums: threads of the algebra library would only wait for each other."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
