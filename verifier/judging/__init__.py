"""Judging: a verdict for every size and for the part, with the reasons and what to do next."""

from verifier.judging.decision import conformance_probability, decide
from verifier.judging.judge import judge
from verifier.judging.judgement import Judgement, RowJudgement

__all__ = ["Judgement", "RowJudgement", "conformance_probability", "decide", "judge"]
