"""Before NumPy loads: the matrices here are small, and threads that fight over them cost more than they bring."""
import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
