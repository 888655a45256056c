"""What a record says because a person or a file told it, on the simulated bench."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from stations import Stand, demo_setup, stand
from test_records.notes import a_note

from batchtest.bench.dialect import FOLDER
from batchtest.errors import InstrumentTimeout, NotProven
from batchtest.nouns import Reason, Retest, Role
from batchtest.records.metadata import FORMAT
from batchtest.records.record import Record, read_record
from batchtest.sequencer import Job, Past, Told, run_batch
from batchtest.sequencer.told import NOTHING_TOLD, humidity_of


def records_of(station: Stand, job: Job, *serials: str) -> list[Record]:
    """The records of boards that are tested under a job."""
    attempts = run_batch(station.station, job, serials, station.place, station.watcher)
    return [read_record(station.reports / attempt.record) for attempt in attempts]


#: Board -> what is wrong with it, and what ends its attempt early.
BOARDS = {"VN-0001": ("", ""), "VN-0004": ("RL5 short", "cold checks"), "VN-0006": ("DZ12 open", "safety trip")}
PASTS = {
    "VN-0001": Past(Retest(reason=Reason.RESEATED, earlier=("try/VN-0001.1.csv",), number=1), (a_note(number=1),)),
    "VN-0004": Past(notes=(a_note(number=2),)),
    "VN-0006": Past(),
}


@pytest.fixture(scope="module")
def batch(tmp_path_factory: pytest.TempPathFactory) -> list[Record]:
    """Three boards, tested on a bench whose meter has a certificate."""
    setup = demo_setup({serial: fault for serial, (fault, _) in BOARDS.items()})
    meter = setup.bench.meter.model_copy(update={"certificate": "GB-26-0117"})
    setup = replace(setup, bench=setup.bench.model_copy(update={"meter": meter, "humidity": Decimal("0.4")}))
    with stand(tmp_path_factory.mktemp("told"), setup) as station:
        told = Told(firmware="1.2", humidity=Decimal("0.45"))
        return records_of(station, replace(station.job(), told=told, past=PASTS.__getitem__), *BOARDS)


def test_a_record_says_what_was_told_and_what_went_before(batch: list[Record]):
    """The person's word, the files', the counts; each board has its own past."""
    for number, record in enumerate(batch, start=1):
        context = record.context
        assert (context.firmware, context.option, context.humidity) == ("1.2", "24 V", 0.45)
        assert (context.fixture_revision, context.fixture_matings) == ("A", number)
        assert (context.cable_revision, context.cable_matings) == ("A", 12 + number)
        assert Past(context.retest, context.notes) == PASTS[context.serial]
        assert context.retests_allowed == 1
        assert (record.closing.sequence, record.closing.format) == (number, FORMAT)
        assert record.unaltered


def test_a_record_names_its_proof_and_has_every_reply_to_it(batch: list[Record]):
    """The readings that proved it safe to power, as the instruments answered."""
    proofs = [line for line in batch[0].lines if line.measurement.name in batch[0].closing.proof]
    assert len(proofs) >= len(batch[0].closing.proof) > 50
    assert all(line.reading.raw for line in proofs)


def test_a_record_says_by_what_revision_of_its_dialect_each_instrument_was_spoken_to(batch: list[Record]):
    """The hash of the very file; and the number of its certificate where the bench file has one."""
    known = {identity.role: identity for identity in batch[0].context.instruments}
    assert (known[Role.METER].certificate, known[Role.SUPPLY].certificate) == ("GB-26-0117", "")
    for identity in known.values():
        text = (FOLDER / f"{identity.dialect}.toml").read_bytes()
        assert identity.dialect_sha256 == hashlib.sha256(text).hexdigest()


def test_a_record_says_what_ended_an_attempt_early(batch: list[Record]):
    """In a word, for those who count; the cause says it in full. Nothing does where all was worked through."""
    assert {record.context.serial: record.closing.abort_cause for record in batch} == {
        serial: aborted for serial, (_, aborted) in BOARDS.items()
    }


def test_humidity_is_the_files_where_nobody_measured_it():
    """And not measured where neither says; what was measured as nothing is not taken for that."""
    assert humidity_of(Decimal("0.4"), NOTHING_TOLD) == 0.4
    assert humidity_of(None, NOTHING_TOLD) is None
    assert humidity_of(Decimal("0.4"), Told(humidity=Decimal(0))) == 0.0


@pytest.mark.parametrize(
    ("error", "aborted"),
    [
        pytest.param(InstrumentTimeout("meter: no reply"), "bench: InstrumentTimeout", id="bench"),
        pytest.param(NotProven("a wrong cable"), "not proven", id="refused"),
        pytest.param(KeyboardInterrupt(), "interrupted", id="interrupted"),
        pytest.param(ValueError("a bug"), "program: ValueError", id="a-fault-of-the-program"),
    ],
)
def test_a_record_says_who_ended_an_attempt_that_was_no_test(tmp_path: Path, error: BaseException, aborted: str):
    """Bench, cable, person or program."""
    with stand(tmp_path) as station:

        def fails(_serial: str) -> None:
            raise error

        attempts = run_batch(station.station, station.job(), ["VN-0001"], fails, station.watcher)
        record = read_record(tmp_path / next(attempts).record)
        with pytest.raises(type(error)):
            next(attempts)
    assert record.closing.abort_cause == aborted
