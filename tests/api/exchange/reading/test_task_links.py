"""Links of task data to other systems.

Checked against the public reader ``isoxml`` (Apache-2.0), whose classes were made from the standard's LinkListFile schema;
UUIDs are those of RFC 9562, appendix A.
"""

from __future__ import annotations

import pytest
from isoxml.models.base.v4 import Iso11783LinkList
from xsdata.formats.dataclass.parsers import XmlParser

from api.exchange.identifiers import claims
from api.exchange.reading.files import opened
from api.exchange.reading.nouns import Read, SystemId
from api.exchange.reading.registry import known
from tests.api.exchange.samples import task_data, zipped

UUID = "C232AB00-9414-11EC-B3C8-9F6BDECED846"
PIN = "XXXMDA1AC00000482"
LINKS = f"""<?xml version="1.0" encoding="UTF-8"?>
<ISO11783LinkList VersionMajor="4" VersionMinor="3" ManagementSoftwareManufacturer="Example Farm Office"
 ManagementSoftwareVersion="1.0" DataTransferOrigin="1">
 <LGP A="LGP1" B="1"><LNK A="DVC1" B="{{{UUID}}}"/><LNK A="FRM1" B="{UUID}"/></LGP>
 <LGP A="LGP2" B="2" D="https://farm-office.example/machines"><LNK A="dvc1" B="M-0042" C="our number"/></LGP>
 <LGP A="LGP3" B="2" D="https://plates.example/pin"><LNK A="DVC1" B="{PIN}"/></LGP>
 <LGP A="LGP4" B="4" E="Names of crops"><LNK A="CTP2" B="https://gd.eppo.int/taxon/BRSNN"/></LGP>
 <LGP A="LGP5" B="4"><LNK A="DVC1" B="https://farm-office.example/manual"/></LGP>
 <LGP A="LGP6" B="3"><LNK A="DVC1" B="https://farm-office.example/id/42"/></LGP>
</ISO11783LinkList>
"""


def read(links: str = LINKS, data: bytes | None = None) -> Read:
    files = {"TASKDATA/TASKDATA.XML": data or task_data(), "TASKDATA/LinkList.xml": links.encode()}
    return known()["task-files"].read(opened("a.zip", zipped(files)), b"", None)


def test_the_public_reader_sees_what_we_see() -> None:
    found = XmlParser().from_string(LINKS, Iso11783LinkList)
    seen = {(group.type.value, link.object_id_ref, link.value) for group in found.link_groups for link in group.links}
    assert ("2", "dvc1", "M-0042") in seen
    assert ("4", "CTP2", "https://gd.eppo.int/taxon/BRSNN") in seen
    assert {group.namespace for group in found.link_groups} >= {"https://plates.example/pin"}


def test_a_machine_with_what_other_systems_call_it() -> None:
    (unit,) = read().units
    assert unit.system_ids == (
        SystemId("", UUID.lower()),
        SystemId("https://farm-office.example/machines", "M-0042"),
        SystemId("", "https://farm-office.example/id/42"),
    )
    assert unit.pin == PIN
    found, said = claims(unit, "office")
    assert said == []
    assert [claim.scheme.value for claim in found] == [
        "pin", "serial", "isobus-name", "system-id", "system-id", "system-id", "fleet-number",
    ]  # fmt: skip


def test_a_crop_by_its_code_elsewhere() -> None:
    crops = {crop.key.rpartition(" ")[2]: crop.said for crop in read().crops}
    assert crops["CTP2"] == ("BRSNN", "Raps")


@pytest.mark.parametrize(
    ("links", "why"),
    [
        ("<ISO11783_TaskData/>", "another kind"),
        ("<ISO11783LinkList><LGP", "XML"),
        ('<ISO11783LinkList><LGP A="LGP1" B="9"/></ISO11783LinkList>', "type '9'"),
        ('<ISO11783LinkList><LGP A="LGP1" B="1"><LNK A="DVC1" B="42"/></LGP></ISO11783LinkList>', "'42' for a UUID"),
        ('<ISO11783LinkList><LGP A="LGP1" B="2"><LNK A="DVC1"/></LGP></ISO11783LinkList>', "without object or value"),
    ],
)
def test_a_list_that_is_wrong_stops_nothing_else(links: str, why: str) -> None:
    found = read(links)
    assert [row for row in found.rows if why in row.why]
    assert found.units[0].system_ids == ()
    assert len(found.tasks) == 1


def test_ids_of_no_issuer_are_those_of_the_system_that_wrote_the_data() -> None:
    links = '<ISO11783LinkList><LGP A="LGP1" B="2"><LNK A="DVC1" B="42"/></LGP></ISO11783LinkList>'
    assert read(links).units[0].system_ids == (SystemId("Example Farm Office", "42"),)
    nobody = task_data().replace(b'ManagementSoftwareManufacturer="Example Farm Office"', b"")
    assert read(links, nobody).units[0].system_ids == ()
