"""A server that is killed in the midst of its work, again and again: nothing that it answered is lost."""

from __future__ import annotations

import os
import random
import threading
import time
from pathlib import Path

from audit.nouns.rulebook import Rulebook
from tests.api.legal import legal_setup
from tests.api.running.crowd import Crowd, spoilt
from tests.api.running.proving import Proof
from tests.api.running.servers import found_house, serving

KILLS = int(os.environ.get("SETUP_AUDIT_KILLS", "6"))
PEOPLE = 6
WITHOUT_END = 1_000_000


def test_nothing_that_was_answered_is_lost_when_a_server_is_killed(
    address: str, around: dict[str, str], tmp_path: Path, rulebook: Rulebook
) -> None:
    """Everybody asks again with the same key until they are answered, so each thing is done once all the same."""
    tokens, chance, proof = found_house(address), random.Random(KILLS), Proof(address, rulebook)
    with serving(address, around, tmp_path, 1) as (server,):
        crowd = Crowd([server.port], tokens, spoilt(legal_setup(rulebook)))
        crowd.put_units()
        crew = threading.Thread(target=crowd.work, args=(WITHOUT_END, PEOPLE))
        crew.start()
        try:
            for number in range(KILLS):
                before = crowd.promises.answers
                while crowd.promises.answers < before + 5:  # until it works again
                    server.must_run()
                    assert crew.is_alive(), crowd.promises.strange
                    time.sleep(0.01)
                time.sleep(chance.uniform(0.0, 0.5))
                server.kill()
                wrong, _ = proof.wrong(crowd.promises)
                assert wrong == [], f"after kill {number + 1}"
                server.start()
        finally:
            crowd.over.set()
            crew.join()
    wrong, counts = proof.wrong(crowd.promises)
    assert wrong == []
    assert crowd.promises.lost >= KILLS
    assert counts["start.cleared"] > 0
