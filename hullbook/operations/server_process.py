"""What the web server's own process runs: the book, for as long as the process that started it lives."""

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable
from typing import Any

from django.core.wsgi import get_wsgi_application


def book_while_started() -> Callable[..., Any]:
    """The book's WSGI application; this process ends when its parent is gone, even if that had no time to say so."""
    threading.Thread(target=_end_with_parent, name="end with parent", daemon=True).start()
    return get_wsgi_application()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent:
        parent.join()
        os.kill(os.getpid(), signal.SIGTERM)
