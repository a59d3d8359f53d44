"""What holds for every test."""
import os

# before NumPy loads: the matrices here are small, and threads that fight over them cost more than they bring
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from hypothesis import settings

# no deadline: a first call compiles, which takes longer than any. The same examples every time, so that a change passes
# or fails by what it changes; CUFFLOOP_NEW_EXAMPLES=1 draws others
settings.register_profile("cuffloop", deadline=None, derandomize=not os.environ.get("CUFFLOOP_NEW_EXAMPLES"))
settings.load_profile("cuffloop")
