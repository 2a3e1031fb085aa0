"""A recording that never waits for the medium: what `test_power_cut` must find fault with."""

import os
import sys

from tests.keep import killing

if __name__ == "__main__":
    os.fsync = lambda fd: None
    killing.main(*sys.argv[1:])
