"""Kills the programs of a site at random moments, and restarts and wipes its broker."""

import os
import random
import signal
import time
from collections import Counter
from dataclasses import dataclass, field

import redis

from fleet.management.embedded import process_identity
from fleet.management.embedded.broker import connect_to_broker
from tests.faults.running_site import PROGRAMS, RunningSite
from tests.management.machine import eventually

BROKER_EVENT_EVERY = 10  # kills between two restarts or wipes of the broker


@dataclass
class ProgramKiller:
    """Kills so many times. Whom and when follows from `chance` alone; what is dead at that moment is waited for."""

    site: RunningSite
    chance: random.Random
    mean_pause: float
    kills: Counter[str] = field(default_factory=Counter)
    of_main_process: int = 0
    broker_restarts: int = 0
    broker_wipes: int = 0

    def kill_programs(self, count: int) -> None:
        """Kill `count` processes. Each program comes once before any comes again, in a random order."""
        order: list[str] = []
        for number in range(count):
            time.sleep(self.chance.uniform(0.1, 2 * self.mean_pause))
            order = order or self.chance.sample(PROGRAMS, len(PROGRAMS))
            self.kill_one(order.pop())
            if number % BROKER_EVENT_EVERY == BROKER_EVENT_EVERY // 2:
                self.disturb_broker()

    def kill_one(self, name: str) -> None:
        """Kill the program's main process, or one below it, by -9. Only a process that ended by it is counted."""
        is_main = self.chance.random() < 0.5
        eventually(lambda: self.site.processes_of(name), 60.0)
        processes = self.site.processes_of(name)
        main = next(iter(processes), 0)
        below = sorted(pid for pid in processes if pid != main)
        pid = main if is_main or not below else self.chance.choice(below)
        if not pid:
            raise RuntimeError(f"{name} did not come back: {self.site.output[-2000:]}")
        process_identity.kill_if_same(pid, processes[pid])
        if eventually(lambda: process_identity.start_of(pid) != processes[pid], 10.0):
            self.kills[name] += 1
            self.of_main_process += pid == main

    def disturb_broker(self) -> None:
        """Wipe all that the broker holds, or have it restart in order."""
        if self.chance.random() < 0.5:
            eventually(self._wipe_broker, 30.0)
            self.broker_wipes += 1
            return
        eventually(lambda: self.site.pid_of("broker"), 30.0)
        pid = self.site.pid_of("broker")
        if start := process_identity.start_of(pid):
            _ask_to_end(pid)
            eventually(lambda: process_identity.start_of(pid) != start, 20.0)
            self.broker_restarts += 1

    def _wipe_broker(self) -> bool:
        try:
            with connect_to_broker(self.site.broker_admin_url()) as client:
                return bool(client.flushall())
        except redis.RedisError:
            return False


def _ask_to_end(pid: int) -> None:
    os.kill(pid, signal.SIGTERM)
