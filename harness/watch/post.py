"""Sends one notice to one recipient: ``python -m harness.watch.post``, a process of its own.

Touches the network. The library that knows the ways takes longer to import than the daemon may,
and holds memory that a rig needs otherwise; a server that does not answer must hold nobody up.
So it lives only as long as one notice. From its standard input comes one JSON object: address,
title, body. Exit status: 0 delivered, 1 not, 2 the address is none, 3 the library is missing.
"""

from __future__ import annotations

import json
import sys
import warnings


def main() -> int:
    """Send it; return the exit status."""
    order = json.load(sys.stdin)
    try:
        with warnings.catch_warnings():
            # On Python 3.11 and 3.12 the library still imports imghdr, which goes with 3.13.
            warnings.simplefilter("ignore", DeprecationWarning)
            import apprise
    except ImportError:
        sys.stderr.write("apprise is not installed\n")
        return 3
    post = apprise.Apprise()
    if not post.add(order["address"]):
        return 2
    return 0 if post.notify(title=order["title"], body=order["body"]) else 1


if __name__ == "__main__":
    sys.exit(main())
