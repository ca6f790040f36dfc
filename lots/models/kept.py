"""The two lists: what is kept for good and what is scratch.  Every model is on exactly one."""

from typing import Final

from lots.models.book import BookLine, LineLot
from lots.models.deviation import (
    CorrectiveAction,
    Deviation,
    DeviationNote,
    Disposition,
    ProcessAdjustment,
    RecallConsignee,
)
from lots.models.house import (
    AccuracyCheck,
    CheckPeriod,
    Establishment,
    Instrument,
    InstrumentRetired,
    KeptFile,
    Place,
    PlaceClosed,
)
from lots.models.lot import (
    BrineBatch,
    LaboratoryResult,
    LaboratorySample,
    LaboratorySent,
    Load,
    LoadEnd,
    LoadPart,
    LoadStartMoved,
    Lot,
    LotFinish,
    LotLink,
    LotVoided,
    Note,
    PartDestroyed,
    ProbeLeft,
)
from lots.models.people import Person, RightGiven, RightTaken, Signature
from lots.models.plan import (
    Plan,
    PlanVersion,
    PlanWithdrawn,
    Reassessed,
    ReassessmentAsked,
)
from lots.models.reading import (
    Accepted,
    Attachment,
    LoggerImport,
    Observation,
    PackedSeries,
    Reading,
    SeriesCorrection,
    SeriesWithdrawn,
)
from lots.models.review import (
    HeadSealed,
    KeptJudgement,
    RecordIssued,
    Release,
    ReleaseQuantity,
    Review,
)
from lots.models.salt import (
    BatchDiscarded,
    BatchNamed,
    BatchReading,
    PieceSample,
    StepWeight,
    Thawed,
    UptakePoint,
    UptakePointLeftOut,
)
from lots.models.scratch import (
    Checkpoint,
    CheckTry,
    Invitation,
    LoadPicture,
    Login,
    PinTry,
    PlanDraft,
    RunningState,
    StagedFile,
    VisitKey,
)
from lots.models.sealing import SealKey
from lots.models.visit import Visit, VisitEnded, VisitLot, VisitSeen

KEPT: Final = (
    BookLine, LineLot,
    Person, RightGiven, RightTaken, Signature,
    Establishment, Place, PlaceClosed, Instrument, InstrumentRetired, AccuracyCheck, CheckPeriod,
    KeptFile,
    Plan, PlanVersion, PlanWithdrawn, ReassessmentAsked, Reassessed,
    Lot, LotVoided, LotLink, PartDestroyed, BrineBatch, Load, LoadPart, LoadStartMoved, LoadEnd,
    ProbeLeft, Note, LotFinish, LaboratoryResult, LaboratorySample,
    Reading, Observation, LoggerImport, PackedSeries, SeriesCorrection,
    SeriesWithdrawn, Attachment, Accepted,
    Deviation, DeviationNote, CorrectiveAction, Disposition, RecallConsignee,
    ProcessAdjustment,
    KeptJudgement, Review, Release, ReleaseQuantity, RecordIssued, HeadSealed,
    SealKey,
    Visit, VisitLot, VisitSeen, VisitEnded,
    BatchNamed, BatchReading, BatchDiscarded, PieceSample, StepWeight, LaboratorySent,
    UptakePoint, UptakePointLeftOut, Thawed,
)  # fmt: skip

SCRATCH: Final = (
    Login,
    Invitation,
    PinTry,
    CheckTry,
    PlanDraft,
    RunningState,
    LoadPicture,
    Checkpoint,
    StagedFile,
    VisitKey,
)
