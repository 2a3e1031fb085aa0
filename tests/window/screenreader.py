"""A screen reader's view of the window, from a process of its own: what AT-SPI tells, as JSON lines.

Run by the system's Python, which has the bindings (Debian: gir1.2-atspi-2.0, python3-gi); knows nothing of
the program. Takes ``tree`` from standard input and answers with every node of the application named on the
command line; tells every announcement and change of name or value meanwhile.
"""

import json
import sys
import threading
from typing import Any

import gi

gi.require_version("Atspi", "2.0")
from gi.repository import Atspi, GLib  # noqa: E402

EVENTS = (
    "object:announcement",
    "object:alert",
    "object:property-change:accessible-name",
    "object:property-change:accessible-value",
    "object:state-changed:checked",
)
STATES = ("FOCUSABLE", "SHOWING", "ENABLED", "CHECKED", "FOCUSED")


def tell(**what: Any) -> None:
    print(json.dumps(what), flush=True)


def node(one: Any, depth: int) -> dict[str, Any]:
    """What is told of one object."""
    states = one.get_state_set()
    found: dict[str, Any] = {
        "depth": depth, "role": one.get_role_name(), "name": one.get_name(),
        "description": one.get_description(),
        "states": [name for name in STATES if states.contains(getattr(Atspi.StateType, name))],
    }  # fmt: skip
    found["labelled by"] = [
        relation.get_target(k).get_name()
        for relation in one.get_relation_set()
        if relation.get_relation_type() == Atspi.RelationType.LABELLED_BY
        for k in range(relation.get_n_targets())
    ]
    value = one.get_value_iface()
    if value is not None:
        found["value"] = value.get_current_value()
        found["range"] = [value.get_minimum_value(), value.get_maximum_value()]
    action = one.get_action_iface()
    if action is not None:
        found["actions"] = [action.get_action_name(k) for k in range(action.get_n_actions())]
    return found


def walk(one: Any, depth: int = 0) -> list[dict[str, Any]]:
    """All that is below an object, itself included."""
    try:
        found = [node(one, depth)]
    except GLib.GError:
        # It went while it was looked at.
        return []
    for k in range(min(one.get_child_count(), 300)):
        child = one.get_child_at_index(k)
        if child is not None:
            found += walk(child, depth + 1)
    return found


def application(name: str) -> Any:
    desktop = Atspi.get_desktop(0)
    for k in range(desktop.get_child_count()):
        found = desktop.get_child_at_index(k)
        if found is not None and found.get_name() == name:
            return found
    return None


def happened(event: Any) -> None:
    source = event.source
    detail = event.any_data
    tell(
        event=event.type, role=source.get_role_name(), name=source.get_name(),
        detail=detail if isinstance(detail, str) else "",
    )  # fmt: skip


def main(name: str) -> None:
    Atspi.init()
    listener = Atspi.EventListener.new(happened)
    for event in EVENTS:
        listener.register(event)
    loop = GLib.MainLoop()

    def look() -> bool:
        found = application(name)
        tell(tree=[] if found is None else walk(found))
        return False

    def orders() -> None:
        for line in sys.stdin:
            if line.strip() == "tree":
                GLib.idle_add(look)
        GLib.idle_add(loop.quit)

    threading.Thread(target=orders, daemon=True).start()
    tell(event="ready")
    loop.run()


if __name__ == "__main__":
    main(sys.argv[1])
