"""Dialects: the data files that say how one kind of instrument is spoken to. Every field is used by code here."""

from batchtest.bench.dialect.base import Dialect, DialectT, Errors, Replies
from batchtest.bench.dialect.handler import HandlerDialect
from batchtest.bench.dialect.load import LoadDialect, Mode
from batchtest.bench.dialect.loading import FOLDER, OWN, dialect_sha256, load_dialect, shipped
from batchtest.bench.dialect.meter import Function, Integration, MeterDialect
from batchtest.bench.dialect.parts import (
    AmperesSetting,
    Answer,
    AnySetting,
    Condition,
    Register,
    SecondsSetting,
    Setting,
    SlewSetting,
    Switch,
    VoltsSetting,
    WattsSetting,
)
from batchtest.bench.dialect.scanner import ScannerDialect
from batchtest.bench.dialect.supply import SupplyDialect

__all__ = [
    "FOLDER",
    "OWN",
    "AmperesSetting",
    "Answer",
    "AnySetting",
    "Condition",
    "Dialect",
    "DialectT",
    "Errors",
    "Function",
    "HandlerDialect",
    "Integration",
    "LoadDialect",
    "MeterDialect",
    "Mode",
    "Register",
    "Replies",
    "ScannerDialect",
    "SecondsSetting",
    "Setting",
    "SlewSetting",
    "SupplyDialect",
    "Switch",
    "VoltsSetting",
    "WattsSetting",
    "dialect_sha256",
    "load_dialect",
    "shipped",
]
