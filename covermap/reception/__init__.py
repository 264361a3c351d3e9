"""reception: from field strength to the antenna a cell needs. Arrays in, arrays out; it knows no files."""

from covermap.reception.aim import (
    AimPlan,
    aim_plan,
    aim_range,
    best_aim,
    chance_by_azimuth,
)
from covermap.reception.chain import ReceivingChain, receiving_chain
from covermap.reception.joint import confidence_bounds, joint_confidence
from covermap.reception.options import ReceptionOptions
from covermap.reception.receive import ListReceiver, receive
from covermap.reception.receiver_site import ReceiverSignals
from covermap.reception.record import ReceiverRecord, Records, explained
from covermap.reception.required_field import required_field
from covermap.reception.signals import CellSignals, ListReception, StationFacts, joined_cells
from covermap.reception.tiers import Tier, TierTable
from covermap.reception.variability import SigmaSummary, sigma_summary

__all__ = [
    "AimPlan",
    "CellSignals",
    "ListReceiver",
    "ListReception",
    "ReceiverRecord",
    "ReceiverSignals",
    "ReceivingChain",
    "ReceptionOptions",
    "Records",
    "SigmaSummary",
    "StationFacts",
    "Tier",
    "TierTable",
    "aim_plan",
    "aim_range",
    "best_aim",
    "chance_by_azimuth",
    "confidence_bounds",
    "explained",
    "joined_cells",
    "joint_confidence",
    "receive",
    "receiving_chain",
    "required_field",
    "sigma_summary",
]
