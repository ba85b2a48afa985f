"""Tablets at the edge of the shed's Wi-Fi: each sends a photograph slowly.

They run in a process of their own, so that they take nothing from the client whose answers are timed.
"""

import asyncio
import re
import ssl
from multiprocessing.connection import Connection

BYTES_PER_S = 20_000
PIECE = 2_500


async def _send_slowly(port: int, trusting: ssl.SSLContext, photograph: bytes) -> int:
    """A sign-in form with a photograph in it: the server reads all of it before it can say no."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port, ssl=trusting, server_hostname="127.0.0.1")
    host = f"127.0.0.1:{port}"
    writer.write(f"GET /sign-in/ HTTP/1.1\r\nHost: {host}\r\n\r\n".encode())
    head = (await reader.readuntil(b"\r\n\r\n")).decode()
    length = re.search(r"content-length: (\d+)", head, re.IGNORECASE)
    cookie = re.search(r"set-cookie:\s*([^;]+)", head, re.IGNORECASE)
    assert length, head
    assert cookie, head
    await reader.readexactly(int(length.group(1)))
    body = (
        b'--part\r\nContent-Disposition: form-data; name="photograph"; filename="pail.jpg"\r\n'
        b"Content-Type: image/jpeg\r\n\r\n" + photograph + b"\r\n--part--\r\n"
    )
    writer.write(
        f"POST /sign-in/ HTTP/1.1\r\nHost: {host}\r\nOrigin: https://{host}\r\nCookie: {cookie.group(1)}\r\n"
        f"Content-Type: multipart/form-data; boundary=part\r\nContent-Length: {len(body)}\r\n\r\n".encode()
    )
    for start in range(0, len(body), PIECE):
        writer.write(body[start : start + PIECE])
        await writer.drain()
        await asyncio.sleep(PIECE / BYTES_PER_S)
    code = int((await reader.readline()).split()[1])
    writer.close()
    return code


def send_slowly(port: int, root: str, clients: int, seconds: float, tell: Connection) -> None:
    """All clients at once; says when they have begun, and at the end what each was answered."""

    async def all_at_once() -> list[int]:
        trusting = ssl.create_default_context(cafile=root)
        photograph = b"\xff" * int(seconds * BYTES_PER_S)
        sending = [asyncio.create_task(_send_slowly(port, trusting, photograph)) for _ in range(clients)]
        await asyncio.sleep(1.0)
        tell.send("begun")
        return await asyncio.gather(*sending)

    tell.send(asyncio.run(all_at_once()))
