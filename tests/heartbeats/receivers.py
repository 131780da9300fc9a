"""Receivers on loopback for what the site calls: each answers one way, and counts who came."""

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field

OK = b"HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\nok"


@dataclass
class Receiver:
    """Where it listens, and the first line of each request."""

    port: int
    requests: list[str] = field(default_factory=list)
    released: threading.Event = field(default_factory=threading.Event)

    def url(self, path: str = "/quiet-secret") -> str:
        """The address of a path here."""
        return f"http://127.0.0.1:{self.port}{path}"


@contextmanager
def receiver(answer: Callable[["Receiver", socket.socket], None]) -> Iterator[Receiver]:
    """Listen while the block runs; `answer` is called for each connection, after its request was read."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        running = Receiver(server.getsockname()[1])
        threading.Thread(target=_accept, args=(server, running, answer), daemon=True).start()
        try:
            yield running
        finally:
            running.released.set()
            server.shutdown(socket.SHUT_RDWR)


def _accept(server: socket.socket, running: Receiver, answer: Callable[[Receiver, socket.socket], None]) -> None:
    with suppress(OSError):
        while True:
            client, _ = server.accept()
            threading.Thread(target=_serve, args=(client, running, answer), daemon=True).start()


def _serve(client: socket.socket, running: Receiver, answer: Callable[[Receiver, socket.socket], None]) -> None:
    with client, suppress(OSError):
        request = b""
        while b"\r\n\r\n" not in request and (part := client.recv(4096)):
            request += part
        running.requests.append(request.split(b"\r\n", 1)[0].decode())
        answer(running, client)


def answer_with(content: bytes) -> Callable[[Receiver, socket.socket], None]:
    """Answer with these bytes and close."""
    return lambda _, client: client.sendall(content)


def hang(running: Receiver, client: socket.socket) -> None:
    """Answer nothing until the block ends."""
    running.released.wait(60)


def trickle(running: Receiver, client: socket.socket) -> None:
    """Answer a head that never ends, byte by byte."""
    client.sendall(b"HTTP/1.1 200 OK\r\nX-Slow: ")
    while not running.released.wait(0.1):
        client.sendall(b"x")


def send_without_end(running: Receiver, client: socket.socket) -> None:
    """Announce 10 GB and send until nobody reads."""
    client.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 10737418240\r\n\r\n")
    while not running.released.is_set():
        client.sendall(b"x" * 65536)
