"""Where webhooks may go: real sockets on loopback, names that an injected resolver answers for."""

import socket
import time
from dataclasses import replace
from ipaddress import ip_address
from pathlib import Path

import pytest

from fleet.notices.channels.connecting import Address
from fleet.notices.channels.outbound.http_post import OutboundPolicy
from fleet.notices.channels.outbound.public_addresses import read_networks
from fleet.notices.channels.webhook.webhook_channel import WebhookChannel
from tests.notices.channels.loopback import LOOPBACK, LoopbackServer, make_certificate
from tests.notices.channels.webhook_receiver import (
    ALLOWED,
    FAILED,
    MAX_WAIT,
    PUBLIC,
    QUICK,
    SENT,
    RequestBox,
    names,
    receiving,
    send,
)

INSIDE = ["127.0.0.1", "10.0.0.1", "169.254.169.254", "100.64.0.1", "224.0.0.1", "::1", "fe80::1", "::ffff:127.0.0.1"]


@pytest.mark.parametrize("inside", INSIDE)
@pytest.mark.parametrize("others", [[], [PUBLIC]], ids=["alone", "beside a public one"])
def test_a_name_any_of_whose_addresses_leads_inside_gets_nothing(inside: str, others: list[Address]) -> None:
    with receiving(RequestBox().converse) as server:
        policy = OutboundPolicy(seconds=2.0, resolve=names({"receiver.example": [*others, ip_address(inside)]}))
        result = send(server.port, policy, "https://receiver.example:{port}/")
    assert result.outcome is FAILED
    assert "network that this site does not send to" in result.answer
    assert server.connections == 0


def test_a_name_that_stands_for_loopback_a_moment_later_gains_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    tried: list[str] = []

    def rebinding(name: str) -> list[Address]:
        asked.append(name)
        return [PUBLIC] if len(asked) == 1 else [LOOPBACK]

    def connect(address: tuple[str, int], timeout: float) -> socket.socket:
        tried.append(address[0])
        raise ConnectionRefusedError

    monkeypatch.setattr(socket, "create_connection", connect)
    with receiving(RequestBox().converse) as server:
        policy = OutboundPolicy(seconds=2.0, resolve=rebinding)
        assert send(server.port, policy, "https://receiver.example:{port}/").outcome is FAILED
    assert (asked, tried, server.connections) == (["receiver.example"], [str(PUBLIC)], 0)


def test_a_name_is_asked_once_and_connected_by_its_address_with_the_certificate_of_the_name(tmp_path: Path) -> None:
    certificate, box, asked = make_certificate(tmp_path, "receiver.example"), RequestBox(), []

    def resolve(name: str) -> list[Address]:
        asked.append(name)
        return [LOOPBACK]

    policy = replace(ALLOWED, tls_context=certificate.client_context(), resolve=resolve)
    with LoopbackServer(box.converse, certificate.server_context()).running() as server:
        result = send(server.port, policy, "https://receiver.example:{port}/hook")
        assert box.headers()["host"] == f"receiver.example:{server.port}"
    assert (result.outcome, asked) == (SENT, ["receiver.example"])


@pytest.mark.parametrize("trusts", [True, False])
def test_a_certificate_of_another_name_or_of_nobody_known_gets_nothing(tmp_path: Path, trusts: bool) -> None:
    certificate, box = make_certificate(tmp_path, "other.example" if trusts else "receiver.example"), RequestBox()
    policy = replace(ALLOWED, resolve=names({"receiver.example": [LOOPBACK]}))
    policy = replace(policy, tls_context=certificate.client_context()) if trusts else policy
    with LoopbackServer(box.converse, certificate.server_context()).running() as server:
        result = send(server.port, policy, "https://receiver.example:{port}/hook")
    assert (result.outcome, "certificate" in result.answer, box.bodies) == (FAILED, True, [])


def test_a_handshake_that_hangs_fails_it_at_the_deadline() -> None:
    server = LoopbackServer(lambda connection: None)
    server.converse = lambda connection: server.stopped.wait(MAX_WAIT) and None
    policy = replace(QUICK, resolve=names({"receiver.example": [LOOPBACK]}))
    with server.running():
        assert send(server.port, policy, "https://receiver.example:{port}/").outcome is FAILED


def test_by_default_nothing_goes_to_this_machine() -> None:
    with receiving(RequestBox().converse) as server:
        for host in ("127.0.0.1", "localhost", "[::1]", "127.1", "2130706433", "0x7f000001"):
            for scheme in ("http", "https"):
                result = send(server.port, OutboundPolicy(seconds=2.0), scheme + "://" + host + ":{port}/")
                assert result.outcome is FAILED, host
    assert server.connections == 0


def test_plain_http_outside_the_operator_s_networks_is_refused_also_for_a_name() -> None:
    policy = replace(ALLOWED, resolve=names({"receiver.example": [PUBLIC]}))
    assert "https" in send(8080, policy, "http://receiver.example:{port}/").answer


def test_no_proxy_of_the_environment_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    box, proxy = RequestBox(), RequestBox()
    with receiving(box.converse) as server, receiving(proxy.converse) as proxy_server:
        for name in ("http_proxy", "HTTP_PROXY", "https_proxy", "HTTPS_PROXY", "all_proxy", "ALL_PROXY"):
            monkeypatch.setenv(name, f"http://127.0.0.1:{proxy_server.port}")
        assert send(server.port).outcome is SENT
    assert (len(box.bodies), proxy.bodies) == (1, [])


def test_a_name_that_is_unknown_or_whose_lookup_hangs_fails_it_in_time() -> None:
    def hang(name: str) -> list[Address]:
        time.sleep(MAX_WAIT)
        return []

    began = time.monotonic()
    for resolve in (names({}), hang):
        policy = OutboundPolicy(seconds=0.5, resolve=resolve)
        assert send(443, policy, "https://receiver.example:{port}/").outcome is FAILED
    assert time.monotonic() - began < MAX_WAIT - 1


def test_an_address_that_does_not_answer_leaves_time_for_the_next_one(monkeypatch: pytest.MonkeyPatch) -> None:
    box, connect = RequestBox(), socket.create_connection
    silent = ip_address("127.0.0.9")

    def connect_or_wait(address: tuple[str, int], timeout: float) -> socket.socket:
        if address[0] == str(silent):
            time.sleep(timeout)
            raise TimeoutError
        return connect(address, timeout=timeout)

    monkeypatch.setattr(socket, "create_connection", connect_or_wait)
    policy = replace(
        ALLOWED,
        networks=read_networks("127.0.0.0/8"),
        seconds=1.0,
        resolve=names({"receiver.example": [silent, LOOPBACK]}),
    )
    with receiving(box.converse) as server:
        assert send(server.port, policy, "http://receiver.example:{port}/").outcome is SENT


def test_address_faults_are_said_without_a_connection() -> None:
    channel = WebhookChannel(OutboundPolicy(resolve=names({})))
    assert channel.address_faults("https://receiver.example/hook") == []
    assert channel.address_faults("http://receiver.example/hook") == ["The address has to begin with https://."]
