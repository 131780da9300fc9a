"""What a worker has loaded is shared by its processes, and not copied by the collector of garbage."""

import gc

from celery.signals import worker_before_create_process

from fleet.celery import share_loaded_memory

LOADED = 1_000


def test_what_is_loaded_before_a_process_is_made_is_left_alone_by_the_collector() -> None:
    loaded = [[number] for number in range(LOADED)]
    before = gc.get_freeze_count()
    answers = worker_before_create_process.send(sender=None)
    assert [receiver for receiver, _ in answers] == [share_loaded_memory]
    assert gc.get_freeze_count() >= before + len(loaded)
