"""What holds for every test."""
import os

# before NumPy loads: the matrices here are small, and threads that fight over them cost more than they bring
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from hypothesis import settings

settings.register_profile("cuffloop", deadline=None)  # a first call compiles, which takes longer than any deadline
settings.load_profile("cuffloop")
