"""To be written by helper D. Note from the lead: callers in proof/gate.py and sequencer/ use exactly these:

reader.read(measurement) ; reader.settled(measurement, since=None) (since = clock.now() of the last change of state) ;
reader.reference(measurement)  -> Reading at bench_file.reference.scanner ;
reader.contact(measurement, channel) -> Reading; measurement.point is the TERMINAL ("TP3"), channel joins its two needles; within
    measurement.limit.upper -> the terminal's contact (this channel) is remembered as proven; a point's contact is proven when both its
    `contact` channels (fixture.points[p].contact) are ; reader.forget() ; reader.supply_current(measurement) ;
bench.contact: int, counts links that had to be made anew since opening (0 at start) ; bench.clock ; bench.off() ; bench.make_safe() ;
bench.scanner.close(*channels) / open_all() ; bench.handler may be None ; bench.identities: tuple[InstrumentIdentity, ...]
SafetyTrip raised by the Reader carries `.measurement` and `.reading` (the raw value that crossed) so that it can be recorded: give SafetyTrip
    an __init__(message, measurement=None, reading=None) in errors.py.
bench.load.set_current(channel, amperes), bench.load.on(channel), bench.supply.set(volts, amperes), bench.supply.on(), bench.supply.measured()
"""
