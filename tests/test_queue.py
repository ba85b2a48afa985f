"""The write queue: first come, first served, and free again whatever happened."""

import threading
import time

from hullbook.sqlite_queue.base import TicketQueue


def test_tickets_are_served_in_the_order_they_were_asked_for() -> None:
    queue, served = TicketQueue(), []
    queue.take()

    def wait(number: int) -> None:
        queue.take()
        served.append(number)
        queue.give_back()

    threads = []
    for number in range(6):
        threads.append(threading.Thread(target=wait, args=(number,)))
        threads[-1].start()
        while len(queue._waiting) <= number:
            time.sleep(0.001)
    queue.give_back()
    for thread in threads:
        thread.join()
    assert served == list(range(6))
    queue.take()
    assert queue._taken
