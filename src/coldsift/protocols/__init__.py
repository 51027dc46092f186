"""Cold treatments as declared protocols, and how far a log shows one to have been carried out.

Goes in: one container's common log, a protocol (a TOML file of ``declared/`` or of the user's own), which
probes count. Comes out: a :class:`Treatment` with the verdict, the count of days of each probe and of all of
them, the table :data:`coldsift.schema.TREATMENT_DAYS`, every break, and what was taken for granted. What a
log cannot show is never a pass. :data:`AUTHORITY_DECIDES` goes with every verdict.
"""

from coldsift.protocols.days import Break
from coldsift.protocols.declaration import (
    Basis,
    BeyondGap,
    Protocol,
    ProtocolError,
    Reset,
    Standing,
    Step,
    find_protocol,
    load_protocols,
)
from coldsift.protocols.judge import AUTHORITY_DECIDES, ProbeVerdict, Treatment, judge_treatment

__all__ = [
    "AUTHORITY_DECIDES",
    "Basis",
    "BeyondGap",
    "Break",
    "ProbeVerdict",
    "Protocol",
    "ProtocolError",
    "Reset",
    "Standing",
    "Step",
    "Treatment",
    "find_protocol",
    "judge_treatment",
    "load_protocols",
]
