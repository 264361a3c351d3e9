"""reception: from field strength to the antenna a cell needs. Arrays in, arrays out; it knows no files."""

from covermap.reception.chain import ReceivingChain, receiving_chain
from covermap.reception.confidence import confidence_bounds, joint_confidence
from covermap.reception.signals import CellSignals, ListReception, StationFacts
from covermap.reception.tiers import Tier, TierTable

__all__ = [
    "CellSignals",
    "ListReception",
    "ReceivingChain",
    "StationFacts",
    "Tier",
    "TierTable",
    "confidence_bounds",
    "joint_confidence",
    "receiving_chain",
]
