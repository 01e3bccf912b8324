"""Things that are drawn in several pieces as groups: a hedge with its leaves, a house with the lengths of its walls.

A group holds the handles of its entities. These are written as text while the file is, before the groups are.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from ezdxf.entities.dxfgroups import DXFGroup

from pegline.plan.style import plain_name

__all__ = ["add_groups"]

HANDLE = 340  #: group code of a member


def add_groups(doc: Any, names: Iterable[str], members: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Add a group for each name and return their handles; ``members`` has those of entities once they are written."""
    handles: dict[str, str] = {}
    collection = doc.rootdict["ACAD_GROUP"]
    taken: set[str] = set()
    for name in names:
        plain = plain_name(name) or "GROUP"
        while plain in taken:
            plain = f"{plain}-{len(taken)}"
        taken.add(plain)
        group = _WrittenGroup.new(
            doc.entitydb.next_handle(),
            collection.dxf.handle,
            {"description": plain, "unnamed": 0, "selectable": 1},
            doc,
        )
        group.of(name, members)
        doc.entitydb.add(group)
        doc.objects.add_object(group)
        collection[plain] = group
        handles[name] = group.dxf.handle
    return handles


class _WrittenGroup(DXFGroup):
    """A group of entities that are text already."""

    def of(self, name: str, members: Mapping[str, Sequence[str]]) -> None:
        """Tell the group whose pieces are its members."""
        self._name, self._members = name, members

    def preprocess_export(self, tagwriter: Any) -> bool:
        """Write the group always; there is nothing in it that could be gone."""
        return True

    def export_group(self, tagwriter: Any) -> None:
        """Write the handles of the members."""
        for handle in self._members.get(self._name, ()):
            tagwriter.write_tag2(HANDLE, handle)
