"""Django's SQLite backend with a first-come-first-served queue for writers of one process.

SQLite's own busy handler sleeps and polls, so a writer may be overtaken many times while others hurry past. Here each
transaction takes a ticket before BEGIN and gives it back after COMMIT, ROLLBACK or close. Other processes are met
through the busy timeout, as before.
"""

from collections import deque
from threading import Event, Lock

from django.db.backends.sqlite3 import base


class TicketQueue:
    """A lock that is handed over in the order it was asked for."""

    def __init__(self) -> None:
        self._guard = Lock()
        self._waiting: deque[Event] = deque()
        self._taken = False

    def take(self) -> None:
        with self._guard:
            if not self._taken:
                self._taken = True
                return
            turn = Event()
            self._waiting.append(turn)
        turn.wait()

    def give_back(self) -> None:
        with self._guard:
            if self._waiting:
                self._waiting.popleft().set()
            else:
                self._taken = False


_queues: dict[str, TicketQueue] = {}
_queues_guard = Lock()


def queue_for(database_name: str) -> TicketQueue:
    with _queues_guard:
        return _queues.setdefault(database_name, TicketQueue())


class DatabaseWrapper(base.DatabaseWrapper):
    _holds_ticket = False

    def _start_transaction_under_autocommit(self) -> None:
        if not self._holds_ticket:
            queue_for(str(self.settings_dict["NAME"])).take()
            self._holds_ticket = True
        try:
            super()._start_transaction_under_autocommit()
        except BaseException:
            self._give_ticket_back()
            raise

    def _commit(self) -> None:
        # A COMMIT that fails leaves the transaction open: the ticket stays until the ROLLBACK that follows.
        super()._commit()
        self._give_ticket_back()

    def _rollback(self) -> None:
        try:
            super()._rollback()
        finally:
            self._give_ticket_back()

    def _close(self) -> None:
        try:
            super()._close()
        finally:
            self._give_ticket_back()

    def _give_ticket_back(self) -> None:
        if self._holds_ticket:
            self._holds_ticket = False
            queue_for(str(self.settings_dict["NAME"])).give_back()
