"""``audiotest record``: a sound-card input kept on disk without a gap, every over cut out and measured."""

import argparse

from audiotest.feeds.scale import load_feed
from audiotest.standards.limits import get_limits
from audiotest.terminal.live import listen


def run(arguments: argparse.Namespace) -> int:
    """Record and measure until Ctrl-C; a disk that is full or fails ends it with what there is kept."""
    limits = get_limits(arguments.limits)
    feed = None if arguments.feed is None else load_feed(arguments.feed)
    return listen(arguments, feed, limits, arguments.folder, must_keep=True)
