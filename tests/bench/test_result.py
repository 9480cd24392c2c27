"""What a worker leaves is looked at before anything of it is shown."""

import json

import pytest
from stubs import write_result

from verifier.bench.durable import make_folder, sha256_of
from verifier.bench.journal import Journal
from verifier.bench.result import UselessResult, manifest_of, result_folder, seal, seal_reason
from verifier.bench.rulesets import rules_on


@pytest.fixture
def job(bench):
    journal = Journal(bench.ledger)
    claimed = journal.job(journal.begin_claim("latch_lever", b"latch_lever.stl", "latch_lever.stl"))
    started = journal.start(claimed, rules_on(bench).seen_by("latch_lever"))
    journal.close()
    make_folder(result_folder(bench, started))
    return started


def test_a_sealed_result_lists_its_files_with_their_digests_and_no_longer_holds_the_outcome(bench, job):
    folder = result_folder(bench, job)
    write_result(folder, "latch_lever", "PASS", b"scan")
    outcome = seal(bench, job)
    assert (outcome.verdict, outcome.reasons) == ("PASS", ("Because.",))
    manifest = manifest_of(bench, job)
    assert manifest.files == {file.name: sha256_of(file) for file in folder.iterdir()}
    assert manifest.in_publishing_order[-1] == "latch_lever.3mf"
    assert "outcome.json" not in manifest.files


def test_a_pass_without_a_mesh_is_no_result(bench, job):
    folder = result_folder(bench, job)
    write_result(folder, "latch_lever", "PASS", b"scan")
    (folder / "latch_lever.3mf").unlink()
    with pytest.raises(UselessResult, match="there is no mesh"):
        seal(bench, job)


@pytest.mark.parametrize("outcome", ["", "{}", "[1]", '{"part": "a", "verdict": "SURE", "exit": 0}'])
def test_an_outcome_that_says_nothing_usable_is_no_result(bench, job, outcome):
    (result_folder(bench, job) / "outcome.json").write_text(outcome)
    with pytest.raises(UselessResult, match="outcome cannot be used"):
        seal(bench, job)


def test_folders_and_unfinished_files_are_no_result(bench, job):
    folder = result_folder(bench, job)
    write_result(folder, "latch_lever", "FAIL", b"scan")
    (folder / ".latch_lever.3mf.part").write_text("half")
    with pytest.raises(UselessResult, match="not a finished file"):
        seal(bench, job)


def test_the_reason_of_a_job_given_up_takes_the_place_of_its_half_results(bench, job):
    folder = result_folder(bench, job)
    (folder / "latch_lever.3mf").write_text("half")
    (folder.parent / "worker.log").write_text("Traceback")
    seal_reason(bench, job, "It was tried 3 times.")
    assert set(manifest_of(bench, job).files) == {"latch_lever.set_aside.txt", "latch_lever.traceback.txt"}
    assert (folder / "latch_lever.traceback.txt").read_text() == "Traceback"
    assert json.loads((folder.parent / "manifest.json").read_text())
