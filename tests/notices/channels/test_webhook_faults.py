"""Receivers of webhooks that misbehave: each is left in time, and what nobody knows is called unknown."""

import socket
import time
from dataclasses import replace

import pytest

from fleet.notices.channels.contract import DeliveryResult
from tests.notices.channels.loopback import LoopbackServer
from tests.notices.channels.webhook_receiver import (
    ALLOWED,
    FAILED,
    MAX_WAIT,
    QUICK,
    SENT,
    UNKNOWN,
    RequestBox,
    read_request,
    receiving,
    send,
)


def test_a_receiver_that_closes_after_the_request_leaves_it_unknown() -> None:
    with receiving(lambda connection: read_request(connection) and None) as server:
        result = send(server.port)
    assert result == DeliveryResult(UNKNOWN, "The request was sent and its answer was lost.")


def test_a_receiver_that_closes_in_the_middle_of_a_large_request_fails_it() -> None:
    with receiving(lambda connection: connection.recv(10) and None) as server:
        assert send(server.port, text="x" * 30_000_000).outcome is FAILED


def test_a_receiver_that_never_reads_a_large_request_fails_it_at_the_deadline() -> None:
    server = LoopbackServer(lambda connection: None)
    server.converse = lambda connection: server.stopped.wait(MAX_WAIT) and None
    began = time.monotonic()
    with server.running():
        assert send(server.port, QUICK, text="x" * 30_000_000).outcome is FAILED
    assert time.monotonic() - began < MAX_WAIT


@pytest.mark.parametrize("begin", [b"", b"HTTP/1.1 ", b"HTTP/1.1 200 OK\r\nX: "])
def test_a_receiver_that_hangs_before_the_end_of_its_head_leaves_it_unknown(begin: bytes) -> None:
    server = LoopbackServer(lambda connection: None)

    def hang(connection: socket.socket) -> None:
        read_request(connection)
        connection.sendall(begin)
        server.stopped.wait(MAX_WAIT)

    server.converse, began = hang, time.monotonic()
    with server.running():
        assert send(server.port, QUICK).outcome is UNKNOWN
    assert 0.4 < time.monotonic() - began < MAX_WAIT


def test_a_receiver_that_drips_is_left_at_the_deadline() -> None:
    server = LoopbackServer(lambda connection: None)

    def drip(connection: socket.socket) -> None:
        read_request(connection)
        connection.sendall(b"HTTP/1.1 200 OK\r\nX: ")
        while not server.stopped.wait(0.02):
            connection.sendall(b"x")

    server.converse, began = drip, time.monotonic()
    with server.running():
        assert send(server.port, QUICK).outcome is UNKNOWN
    assert 0.4 < time.monotonic() - began < MAX_WAIT


def test_once_the_head_is_there_a_body_that_hangs_takes_nothing_back_and_is_soon_left() -> None:
    server = LoopbackServer(lambda connection: None)

    def hang(connection: socket.socket) -> None:
        read_request(connection)
        connection.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 1000\r\n\r\nx")
        server.stopped.wait(10)

    server.converse, began = hang, time.monotonic()
    with server.running():
        assert send(server.port, replace(ALLOWED, seconds=10.0)).outcome is SENT
    assert time.monotonic() - began < MAX_WAIT


@pytest.mark.parametrize("framing", [b"Content-Length: 10000000000", b"Transfer-Encoding: chunked", b"X: y"])
def test_of_ten_gigabytes_not_more_than_a_little_is_read(framing: bytes) -> None:
    taken = []

    def flood(connection: socket.socket) -> None:
        read_request(connection)
        connection.sendall(b"HTTP/1.1 200 OK\r\n" + framing + b"\r\n\r\n" + b"2540BE400\r\n")
        try:
            for _ in range(10_000):
                taken.append(connection.send(bytes(1_000_000)))
        except OSError:
            pass

    began = time.monotonic()
    with receiving(flood) as server:
        assert send(server.port).outcome is SENT
        time.sleep(0.1)
    assert sum(taken) < 50_000_000  # what the system's buffers hold, far from all of it
    assert time.monotonic() - began < MAX_WAIT


def test_a_head_without_end_is_not_read_to_its_end() -> None:
    def flood(connection: socket.socket) -> None:
        read_request(connection)
        connection.sendall(b"HTTP/1.1 200 OK\r\n")
        while True:
            connection.sendall(b"X: " + b"y" * 1000 + b"\r\n")

    began = time.monotonic()
    with receiving(flood) as server:
        assert send(server.port).outcome in (SENT, UNKNOWN)
    assert time.monotonic() - began < MAX_WAIT


@pytest.mark.parametrize(
    "answer", [b"hello\r\n\r\n", b"\x00\xff" * 100, b"HTTP/1.1 abc\r\n\r\n", b"HTTP/1.1 103 x\r\n\r\n"]
)
def test_an_answer_that_is_none_leaves_it_unknown(answer: bytes) -> None:
    with receiving(RequestBox(answer).converse) as server:
        assert send(server.port).outcome is UNKNOWN


def test_a_receiver_that_is_away_fails_it() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    assert send(port) == DeliveryResult(FAILED, "The receiver did not take it: it refused the connection.")
