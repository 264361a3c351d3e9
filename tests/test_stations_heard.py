"""What works out reception is kept from one address to the next, but not for other stations."""

from types import SimpleNamespace

import numpy as np
from reception_places import TIERS, facts_of

from covermap.addresses.answer import as_cell, receiver_of
from covermap.addresses.plans import Place, question
from covermap.addresses.site import Site
from covermap.reception import ReceptionOptions
from covermap.scenario.records import WantedList


def receiver_site_with(*names, receivers):
    """Return a place at which some stations are heard, the first of them wanted."""
    facts = facts_of([569.0 + 6.0 * len(name) for name in names], range(len(names)))
    wanted = WantedList("main", ("One",), ((0,),), None)
    site = Site(None, None, TIERS, facts, ReceptionOptions(), None, wanted, receivers=receivers)
    fields = {10.0: 60.0, 15.0: 62.0}
    paths = [
        SimpleNamespace(
            station=SimpleNamespace(station_id=name), wanted_dbuvm=fields, unwanted_dbuvm=fields,
            by_day_dbuvm=fields, path_class=0, profile=SimpleNamespace(back_azimuth_deg=40.0, length_km=30.0),
        )
        for name in names
    ]  # fmt: skip
    return Place(site, tuple(paths), 10.0, False)


def test_each_set_of_heard_stations_has_a_receiver_of_its_own():
    receivers: dict = {}
    found = []
    for names in (("A",), ("A", "BB"), ("A",), ("A", "CCC")):
        asked = question(receiver_site_with(*names, receivers=receivers))
        found.append(receiver_of(asked, as_cell(asked)))
    assert found[0] is found[2]
    assert len({id(receiver) for receiver in found}) == len(receivers) == 3
    stations = [np.asarray(receiver.one_channel).shape[0] for receiver in found]
    assert stations == [1, 2, 1, 2]
