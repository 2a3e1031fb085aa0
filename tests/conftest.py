"""What holds for all tests: one thread for sums; property tests judge results, never the machine's speed."""

import os

from hypothesis import settings

# As the program itself does, before anything brings numpy along: threads that share out small products only
# wait for each other on a busy machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "here")
