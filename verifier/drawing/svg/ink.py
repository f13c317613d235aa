"""Draw a placed layout as the SVG of one situation.

Input: the placed layout, what is seen, what to mark. Output: the groups of the drawing, one for
each element of the plan, and where each element is, for the call-outs.
"""

from collections.abc import Iterable, Iterator
from html import escape

from verifier.drawing.label_placer import BELOW
from verifier.drawing.layout import GridCell
from verifier.drawing.sketch import LEFT, RIGHT
from verifier.drawing.svg import template
from verifier.drawing.svg.labels import derail_spot
from verifier.drawing.svg.metrics import (
    BLADE,
    HEAD,
    HEAD_APART,
    MAST,
    PLATE,
    LoomWire,
    end_words,
    leg_feeder_words,
    leg_of,
    loom,
    mast_height,
    mast_width,
    on_leg,
    short,
)
from verifier.drawing.svg.placed_layout import PlacedLayout
from verifier.drawing.svg.placer import Box, PlacedSvgLabel, Point, SvgLabel
from verifier.drawing.svg.track_paths import LOOSE, height_at
from verifier.drawing.trackside import gap_name, undrawn_words
from verifier.drawing.view import FAULT_OF, View, plate_letter, shown_word
from verifier.plan.model import Joint, Piece, Port, Signal
from verifier.plan.track.build_track import moves_over
from verifier.plan.wiring.faults import FaultKind

KINDS = {"turnout": "points", "crossing": "crossing", "slip": "slip"}


class SvgRenderer:
    """Inks one board in one situation. ``spots``: where each thing is, by kind and name, as
    far as it has been inked."""

    def __init__(self, board: PlacedLayout, view: View, prefix: str):
        self.board, self.view, self.prefix = board, view, prefix
        self.plan, self.ways = board.plan, board.ways
        self.spots: dict[tuple[str, str], Box] = {}

    def groups(self) -> Iterator[str]:
        """Everything, what lies lowest first."""
        yield from self._blocks()
        yield from self._ends()
        yield from self._specials()
        yield from self._gaps()
        yield from self._on_the_rail()
        yield from self._looms()
        yield from self._signals()
        yield from self._leaders()

    def _group(
        self, kind: str, name: str, title: str, body: Iterable[str], spot: Box | None,
        *, grey: bool = False, data: str = "",
    ) -> str:  # fmt: skip
        if spot is not None:
            self.spots[kind, name] = spot
        dim = ' class="dim"' if grey else ""
        return (
            f'<g id="{element_id(kind, name, self.prefix)}"{dim} data-kind="{kind}" '
            f'data-name="{escape(name)}"{data}><title>{escape(title)}</title>{"".join(body)}</g>\n'
        )

    # -------------------------------------------------------------- track

    def _pieces(self) -> Iterator[tuple[Piece, GridCell]]:
        for name, cell in self.board.layout.cells.items():
            if name in self.plan.track.pieces:
                yield self.plan.track.pieces[name], cell

    def _blocks(self) -> Iterator[str]:
        of_block: dict[str, list[Piece]] = {}
        for piece, _ in self._pieces():
            if piece.block:
                of_block.setdefault(piece.block, []).append(piece)
        for block, pieces in of_block.items():
            lines = [line for piece in pieces for line in self._rail(piece)]
            body = [template.line(points, self._rail_kind(block)) for points in lines]
            hits = "".join(template.way(points) for points in lines)
            body.append(f'<path class="hit" d="{hits}"/>' if hits else "")
            body += self._names(block, pieces)
            state = "occupied" if self.view.occupied(block) else "vacant"
            said = self.view.seen is not None and self.view.speaks_of("block", block)
            title = f"{block}, {state}" if said else block
            note = self.plan.blocks[block].note
            title += f": {note}" if note else ""
            grey = not self.view.speaks_of("block", block)
            yield self._group("block", block, title, body, self._spot_of(block, pieces), grey=grey)

    def _rail_kind(self, block: str | None) -> str:
        return "r dark" if block and not self.plan.blocks[block].detected else "r"

    def _spot_of(self, block: str, pieces: list[Piece]) -> Box:
        """Where a mark of the block goes: to the stock that stands there, else to its name."""
        stand = self.board.standing.get(("stock", block))
        if stand is not None and self.view.occupied(block):
            return stand
        if name := self.board.put.get(("block", block)):
            return name.box
        home = self.board.there.home[block]
        # The home piece may be on another strip.
        x, y = self.ways.hub(home if home in self.board.layout.cells else pieces[0].name)
        return Box(x - 8, y - 4, 16, 8)

    def _names(self, block: str, pieces: list[Piece]) -> Iterator[str]:
        for piece in pieces:
            if put := self.board.put.get(("piece", piece.name)):
                yield _label(put, short(block), "i c")
        put = self.board.put.get(("block", block))
        if put is not None:
            home = self.plan.track.pieces[self.board.there.home[block]]
            words = short(block) if home.kind == "plain" else f"({short(block)})"
            yield _label(put, words, "i c")

    def _rail(self, piece: Piece) -> Iterator[tuple[Point, ...]]:
        """The rail of a piece, less what tells how its points lie."""
        ways = [self.ways.way(Port(piece.name, end)) for end in piece.ends]
        ways = [points for points in ways if len(points) > 1]
        if piece.kind == "plain" and len(ways) == 2:
            yield tuple(dict.fromkeys([*reversed(ways[0]), *ways[1][1:]]))
            return
        for end, points in zip(piece.ends, ways, strict=False):
            if piece.kind == "turnout" and end == "points":
                yield points
            elif piece.kind in KINDS:
                yield self._beyond(points)
            else:
                yield points

    def _beyond(self, points: tuple[Point, ...]) -> tuple[Point, ...]:
        """A way from a frog, less the blades."""
        return template.along(points[0], points[1], _blade(points)), *points[1:]

    def _specials(self) -> Iterator[str]:
        for piece, cell in self._pieces():
            kind = KINDS.get(piece.kind)
            if kind is None:
                continue
            position = self.view.position(piece)
            put = self.board.put.get((kind, piece.name))
            words = short(piece.name) + (f" {position}" if position else "")
            words += undrawn_words(self.plan, self.board.layout, cell, short)
            body = [*self._blades(piece, position), _label(put, words, "c") if put else ""]
            x, y = self.ways.hub(piece.name)
            body.append(template.circle((x, y), 13, "hit"))
            title = piece.name + (f" lies {position}" if position else "")
            grey = not self.view.speaks_of(kind, piece.name)
            yield self._group(
                kind, piece.name, title, body, Box(x - 9, y - 6, 18, 12), grey=grey,
                data=f' data-state="{position}"' if position else "",
            )  # fmt: skip

    def _blades(self, piece: Piece, position: str | None) -> Iterator[str]:
        """The ways over a piece that are open, drawn through; the others are left open."""
        hub = self.ways.hub(piece.name)
        tips = {}
        for end in piece.ends:
            points = self.ways.way(Port(piece.name, end))
            if len(points) > 1:
                tips[end] = template.along(hub, points[1], _blade(points))
        done: set[frozenset[str]] = set()
        for move in moves_over(piece):
            ends = frozenset((move.enter, move.leave))
            lined = move.position is None or position in (None, move.position)
            if ends in done or not lined or not ends <= tips.keys():
                continue
            done.add(ends)
            if piece.kind == "turnout":
                tip = next(end for end in (move.enter, move.leave) if end != "points")
                yield template.stroke(hub, tips[tip], "r")
            elif move.position == "reverse":
                yield template.curve(tips[move.enter], hub, tips[move.leave])
            else:
                yield template.stroke(tips[move.enter], tips[move.leave], "r")
        if position == "open" and piece.kind == "turnout" and {"normal", "reverse"} <= tips.keys():
            (ax, ay), (bx, by) = tips["normal"], tips["reverse"]
            middle = template.along(hub, ((ax + bx) / 2, (ay + by) / 2), BLADE - 5)
            yield template.stroke(hub, middle) + template.circle(middle, 2.2, "o")
        elif position == "open":
            yield template.circle(hub, 3, "o")

    def _ends(self) -> Iterator[str]:
        for name, cell in self.board.layout.cells.items():
            kind = cell.node.kind
            if kind not in LOOSE:
                continue
            way = 1 if cell.node.left else -1
            x, y = self.ways.hub(name)
            words = end_words(self.plan, cell.node, self.board.there)
            beside = (x + way * (18 if kind == "torn" else 12), y + 4)
            label = template.text(beside, words, "" if way > 0 else "e") if words else ""
            if kind in ("cut", "torn"):
                rail = template.line(self.ways.loose_end(cell))
                if kind == "torn":
                    mark = template.match((x + way * 7, y), self._letter_of(cell))
                else:
                    mark = template.broken_off((x, y))
                yield f'<g class="{kind}">{rail}{mark}{label}</g>\n'
                continue
            port = Port(name, "end")
            beyond = self.plan.track.pieces[self.plan.track.joint_at[port].other(port).piece]
            rail = template.line(self.ways.way(port), self._rail_kind(beyond.block))
            body = [rail, self._end_mark(name, (x, y), way), label]
            title = f"{name}, where the plan stops" if kind == "edge" else f"{name}, a bumper"
            yield self._group(kind, name, title, body, Box(x - 8, y - 8, 16, 16))

    def _letter_of(self, cell: GridCell) -> str:
        """The letter that both ends of torn track have."""
        port = cell.node.left or cell.node.right
        assert port is not None
        joint = self.plan.track.joint_at[port]
        torn = dict.fromkeys(
            self.plan.track.joint_at[p]
            for c in self.board.layout.cells.values()
            if c.node.kind == "torn" and (p := c.node.left or c.node.right)
        )
        place = list(torn).index(joint)
        return chr(ord("A") + place % 26) * (place // 26 + 1)

    def _end_mark(self, name: str, at: Point, way: int) -> str:
        piece = self.plan.track.pieces[name]
        if piece.kind == "bumper":
            return template.bumper(at, way)
        if piece.direction == "entering":
            return template.chevron((at[0] - 2 * way, at[1]), -way)
        return template.chevron((at[0] + 4 * way, at[1]), way)

    # -------------------------------------------------------------- gaps

    def _gaps(self) -> Iterator[str]:
        drawn: dict[Joint, list[tuple[Point, Point]]] = {}
        for mark in self.board.layout.marks:
            places = drawn.setdefault(mark.joint, [])
            if (place := self.ways.place(mark)) not in places:
                places.append(place)
        for slant in self.board.layout.slants.values():
            joint = self.plan.track.joint_at[slant.leg]
            if slant.to_leg and slant.leg == joint.a:
                ways = self.ways.way(slant.leg)
                drawn[joint] = [(ways[-1], template.unit(*ways))]
        for joint, places in drawn.items():
            if joint.kind == "=":
                continue
            name = gap_name(joint)
            body = [bar for at, along in places for bar in template.gap(at, along, joint.kind)]
            put = self.board.put.get(("gap", name))
            body.append(_label(put, short(name), "m c") if put else "")
            title = f"{'gap in both rails' if joint.kind == '||' else 'gap in one rail'}: {name}"
            x, y = places[0][0]
            yield self._group("gap", name, title, body, Box(x - 4, y - 6, 8, 12))

    # -------------------------------------------------------------- on the rail

    def _on_the_rail(self) -> Iterator[str]:
        for (kind, name), box in self.board.standing.items():
            put = self.board.put.get((kind, name))
            if kind == "gate":
                state = self.view.gate(name)
                body = [
                    template.gate(box, state),
                    _label(put, _told(name, state), "c") if put else "",
                ]
                grey = not self.view.speaks_of("gate", name)
                yield self._group("gate", name, _told(name, state), body, box, grey=grey)
            elif self.view.occupied(name):
                draws = self.view.draws(name)
                body = [template.locomotive(box) if draws else template.car(box)]
                unseen = "" if draws else ", drawing no current"
                yield self._group("stock", name, f"stock on {name}{unseen}", body, box)
        for port, names in self.board.there.derails.items():
            if port.piece not in self.board.layout.cells:
                continue
            for name in names:
                at = derail_spot(self.ways, self.board.there, port, name)
                state = self.view.derail(name)
                put = self.board.put.get(("derail", name))
                label = _label(put, _told(name, state), "c") if put else ""
                body = [template.derail(at, state), label]
                spot = Box(at[0] - 6, at[1] - 8, 12, 14)
                grey = not self.view.speaks_of("derail", name)
                yield self._group("derail", name, _told(name, state), body, spot, grey=grey)

    # -------------------------------------------------------------- wiring

    def _looms(self) -> Iterator[str]:
        for (kind, block), put in self.board.put.items():
            if kind == "loom":
                strands = loom(self.plan, block, self.board.wanted)
                feeders = {s.name: put.box.x + s.x for s in strands if s.kind == "feeder"}
                yield from (self._strand(strand, put, feeders) for strand in strands)
            elif kind == "leg feeder":
                leg = leg_of(self.plan.wiring.feeders[block], self.plan)
                strands = on_leg(self.plan, leg, self.board.wanted) if leg else ()
                yield from (self._strand(s, put, {}, leg) for s in strands if s.name == block)

    def _strand(
        self,
        strand: LoomWire,
        put: PlacedSvgLabel,
        feeders: dict[str, float],
        on: Port | None = None,
    ) -> str:
        """A feeder: a drop of wire from the rail. A detector: a box, and a ring about each
        feeder that passes through it. ``on``: the leg of a turnout that it is on."""
        down = 1 if put.side == BELOW else -1
        # The rail, or where a loom that found no room at its rail is drawn.
        rail = put.box.y - put.label.off if down > 0 else put.box.bottom + put.label.off
        x, sense = put.box.x + strand.x, rail + down * 13
        broken = self.view.broken(FAULT_OF[strand.kind], strand.name)
        grey = self.view.seen is not None and not self.view.speaks_of(strand.kind, strand.name)
        if strand.kind == "feeder":
            end = rail + down * 22
            if on is not None and not put.leader:
                rail = height_at(self.ways.way(on), x, rail)
            body = [template.stroke((x, rail), (x, end)), template.circle((x, rail), 2, "s")]
            words = leg_feeder_words(strand.name, strand.through)
            body.append(template.text((x, end + (11 if down > 0 else -3)), words, "m c"))
            body += [template.circle((x, sense), 3.6, "k")] * bool(strand.through)
            title = f"feeder {strand.name}"
        else:
            own = [feeders[name] for name in strand.through if name in feeders]
            half = strand.width / 2 - 2
            body = [template.circle((ring, sense), 3.6, "k") for ring in own]
            if own:
                body.append(template.stroke((min(own), sense), (x - half, sense), "f"))
            corners = [(x - half, sense - 8), (x + half, sense - 8), (x + half, sense + 8),
                       (x - half, sense + 8)]  # fmt: skip
            body += [
                template.shape(corners, "o"),
                template.text((x, sense + 3.5), short(strand.name), "m c"),
            ]
            title = f"detector {strand.name}"
        if broken:
            body.append(template.cross_out((x, sense)))
            title += f", {broken}"
        spot = Box(x - 6, min(rail, sense) + 3, 12, 12)
        return self._group(strand.kind, strand.name, title, body, spot, grey=grey)

    # -------------------------------------------------------------- signals

    def _signals(self) -> Iterator[str]:
        for signal in self.plan.signals.values():
            put = self.board.put.get(("signal", signal.name))
            if put is not None:
                yield self._signal(signal, put)

    def _signal(self, signal: Signal, put: PlacedSvgLabel) -> str:
        box, side = put.box, RIGHT if put.side == BELOW else LEFT
        half = mast_height(signal) / 2
        y = box.y + half if put.side == BELOW else box.bottom - half
        outer = box.right if side == RIGHT else box.x
        foot = outer - side * mast_width(signal)
        plate = PLATE * bool(signal.plate)
        middle = (len(signal.heads) - 1) / 2
        # Upright: the uppermost head above the others.
        places = [
            (foot + side * (MAST + plate + HEAD_APART * 0.5 - 1.5), y + HEAD_APART * (n - middle))
            for n in range(len(signal.heads))
        ]
        said = self.view.seen is not None and self.view.speaks_of("signal", signal.name)
        colors = self.view.seen.colors(signal) if said and self.view.seen else None
        body = [template.mast((foot, y), places)]
        if signal.plate:
            at = foot + side * (MAST + plate / 2 - 2), y
            body.append(template.plate(at, plate_letter(signal)))
            if self.view.broken(FaultKind.PLATE, signal.name):
                body.append(template.cross_out(at))
        for n, (head, at) in enumerate(zip(signal.heads, places, strict=True)):
            color = colors[n] if colors else None
            title = f"{head.name}: {color}" if color else head.name
            data = f' data-state="{color}"' if color else ""
            drawn = [template.lens(at, color, head.make)]
            lit = self.plan.wiring.driver_of(head.name) is not None and head.make != "semaphore"
            common = head.in_common and self.view.broken(FaultKind.LAMP_COMMON, *head.in_common)
            if lit and (common or self.view.broken(FaultKind.HEAD, head.name)):
                drawn.append(template.cross_out(at))
            spot = Box(at[0] - HEAD, at[1] - HEAD, 2 * HEAD, 2 * HEAD)
            body.append(self._group("head", head.name, title, drawn, spot, data=data))
        name_at = (foot - side * 5, y + 4)
        body.append(template.text(name_at, short(signal.name), "e" if side == RIGHT else ""))
        title, data = signal.name, ""
        if colors and self.view.seen:
            aspect = shown_word(self.view.seen, signal)
            low = box.bottom - 3 if put.side == BELOW else box.y + 9
            body.append(template.text((outer, low), aspect, "m e" if side == RIGHT else "m"))
            title, data = (
                f"{signal.name} {aspect}: {' over '.join(colors)}",
                f' data-state="{escape(aspect)}"',
            )
        grey = not self.view.speaks_of("signal", signal.name)
        return self._group("signal", signal.name, title, body, box, grey=grey, data=data)

    def _leaders(self) -> Iterator[str]:
        for put in self.board.put.values():
            if put.leader:
                yield template.stroke(*put.leader, "f") + "\n"
            if put.apart:
                at = put.box.right + 8, put.box.middle[1] + 4
                yield template.text(at, f"at {self._where(put.label)}", "m") + "\n"

    def _where(self, tag: SvgLabel) -> str:
        """Where what stands below the drawing belongs, in words."""
        pieces = self.plan.track.pieces
        signal = self.plan.signals.get(tag.name) if tag.kind == "signal" else None
        if signal is not None:
            ends = signal.joint.other(signal.enters), signal.enters
            return " | ".join(short(pieces[port.piece].title) for port in ends)
        nearest = min(
            (name for name in self.board.layout.cells if name in pieces),
            key=lambda name: template.distance(self.ways.hub(name), tag.anchor),
        )
        return short(pieces[nearest].title)


def element_id(kind: str, name: str, prefix: str = "") -> str:
    """The id of the group that draws one thing. Different names have different ids, and any
    name, whatever letters it has, a valid one."""
    slug = "".join(
        c if c.isascii() and (c.isalnum() or c == "-") else f"_{ord(c):x}_" for c in name
    )
    return f"{prefix}{kind}-{slug}"


def _blade(points: tuple[Point, ...]) -> float:
    return min(BLADE, 0.45 * template.distance(points[0], points[1]))


def _label(put: PlacedSvgLabel, words: str, kind: str) -> str:
    return template.text((put.box.middle[0], put.box.bottom - 3.5), words, kind)


def _told(name: str, state: str | None) -> str:
    return f"{short(name)} {state}" if state else short(name)
