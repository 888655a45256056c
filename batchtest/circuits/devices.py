"""Diodes and transistors of a batch of samples: their currents and conductances at given junction voltages."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits.flatten import Flat
from batchtest.circuits.junctions import (
    GMIN_S,
    breakdown_voltage,
    broken_down,
    critical_voltage,
    junction,
    limited,
    saturation_growth,
    thermal_voltage,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Devices:
    """Values of all junctions, one row a sample. Junctions: diodes, then base-emitter, then base-collector.

    `start` is where each diode's breakdown begins, V (infinite where there is none); `series` its series resistance,
    ohm. Slopes and rests of a diode hold for the voltage over diode and series resistance together.
    """

    emission: Floats
    saturation: Floats
    critical: Floats
    start: Floats
    series: Floats
    beta: Floats
    reverse_beta: Floats
    per_early: Floats

    @classmethod
    def of(cls, flat: Flat, extended: Floats, temperature_C: Floats) -> Devices:
        """Take the values of all junctions out of the part values, and bring them to each sample's temperature."""
        diodes = np.array([values for _, values in flat.diodes], np.intp).reshape(-1, 5)
        transistors = np.array([values for _, values in flat.transistors], np.intp).reshape(-1, 6)
        saturation, ideality, bv, ibv, series = (extended[:, diodes[:, key]] for key in range(5))
        transport, beta, reverse_beta, forward, reverse, early = (extended[:, transistors[:, key]] for key in range(6))
        thermal_V, growth = thermal_voltage(temperature_C)[:, None], saturation_growth(temperature_C)[:, None]
        saturation, transport = saturation * np.exp(growth / ideality), transport * np.exp(growth)
        emission = thermal_V * np.concatenate([ideality, forward, reverse], axis=1)
        all_saturation = np.concatenate([saturation, transport, transport], axis=1)
        return cls(
            emission=emission,
            saturation=all_saturation,
            critical=critical_voltage(emission, all_saturation),
            start=breakdown_voltage(bv, ibv, saturation, emission[:, : bv.shape[1]], thermal_V),
            series=series,
            beta=beta,
            reverse_beta=reverse_beta,
            per_early=1.0 / early,
        )

    def take(self, rows: NDArray[np.intp] | slice) -> Devices:
        """The devices of some samples."""
        return Devices(*(getattr(self, field.name)[rows] for field in fields(self)))

    def at_start(self) -> Floats:
        """Junction voltages to begin with: diodes and base-emitter at their bend, base-collector at nothing."""
        volts = self.critical.copy()
        volts[:, volts.shape[1] - self.beta.shape[1] :] = 0.0
        return volts

    def evaluate(self, volts: Floats) -> tuple[Floats, Floats]:
        """Conductances in the order of the stamps, and currents at zero volts on the tangent, in the order of outputs.

        `volts` are those of the junctions (limited source columns left out).
        """
        diodes, transistors = self.start.shape[1], self.beta.shape[1]
        current, slope = junction(volts, self.emission, self.saturation)
        self._break_down(volts[:, :diodes], current, slope)
        bare = slope[:, :diodes] + GMIN_S
        folded = 1.0 + bare * self.series
        diode_slope = bare / folded
        diode_rest = (current[:, :diodes] - slope[:, :diodes] * volts[:, :diodes]) / folded
        be, bc = slice(diodes, diodes + transistors), slice(diodes + transistors, None)
        forward, reverse = (current[:, be], slope[:, be]), (current[:, bc], slope[:, bc])
        slopes, rests = self._transport(volts[:, be], volts[:, bc], forward, reverse)
        return np.concatenate([diode_slope, *slopes], axis=1), np.concatenate([diode_rest, *rests], axis=1)

    def inside(self, volts: Floats, slopes: Floats, rests: Floats) -> Floats:
        """Junction voltages from those over the whole parts: a diode's series resistance takes its share."""
        diodes = self.start.shape[1]
        drop = self.series * (slopes[:, :diodes] * volts[:, :diodes] + rests[:, :diodes])
        return np.concatenate([volts[:, :diodes] - drop, volts[:, diodes:]], axis=1)

    def limit(self, new: Floats, old: Floats) -> Floats:
        """Hold back the step of each junction; a diode near breakdown is held back from that side."""
        held = limited(new, old, self.emission, self.critical)
        diodes = self.start.shape[1]
        emission = self.emission[:, :diodes]
        fresh = new[:, :diodes]
        broken = fresh < np.minimum(0.0, 10.0 * emission - self.start)
        if broken.any():
            start = np.where(np.isfinite(self.start), self.start, 0.0)
            mirrored = limited(-(fresh + start), -(old[:, :diodes] + start), emission, self.critical[:, :diodes])
            ahead = np.where(broken, -(mirrored + start), held[:, :diodes])
            held = np.concatenate([ahead, held[:, diodes:]], axis=1)
        return held

    def _break_down(self, volts: Floats, current: Floats, slope: Floats) -> None:
        broken = volts < -self.start
        if not broken.any():
            return
        diodes = volts.shape[1]
        start = np.where(broken, self.start, 0.0)
        into, steep = broken_down(volts, start, self.emission[:, :diodes], self.saturation[:, :diodes])
        current[:, :diodes] = np.where(broken, into, current[:, :diodes])
        slope[:, :diodes] = np.where(broken, steep, slope[:, :diodes])

    def _transport(
        self, be: Floats, bc: Floats, forward: tuple[Floats, Floats], reverse: tuple[Floats, Floats]
    ) -> tuple[list[Floats], list[Floats]]:
        """Collector and base current of the transport model with Early voltage, as slopes and rests."""
        early = 1.0 - bc * self.per_early
        linked = forward[0] - reverse[0]
        collector = linked * early - reverse[0] / self.reverse_beta - GMIN_S * bc
        base = forward[0] / self.beta + reverse[0] / self.reverse_beta + GMIN_S * (be + bc)
        collector_be = forward[1] * early
        back = reverse[1] / self.reverse_beta + GMIN_S
        collector_bc = -reverse[1] * early - linked * self.per_early - back
        base_be = forward[1] / self.beta + GMIN_S
        rests = [collector - collector_be * be - collector_bc * bc, base - base_be * be - back * bc]
        return [collector_be, collector_bc, base_be, back], rests
