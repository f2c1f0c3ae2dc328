"""Which stock a cell's label is printed on."""

from collections.abc import Iterable, Mapping, Sequence

from straycell.cells import Form
from straycell.errors import UsageFault
from straycell.labels.stocks.stock import Stock, Where


def find_stock(known: Mapping[str, Stock], name: str) -> Stock:
    """A stock by name. Raises UsageFault naming the choices."""
    if name not in known:
        raise UsageFault(f"label stock '{name}' is not known", f"choose one of: {', '.join(known)}")
    return known[name]


def stock_for(known: Mapping[str, Stock], form: Form) -> Stock:
    """The first stock for this form: own stocks come before shipped ones. Raises UsageFault when there is none."""
    return next(iter(fitting(known, form)))


def fitting(known: Mapping[str, Stock], form: Form) -> list[Stock]:
    """Every stock that goes on this form."""
    return [stock for stock in known.values() if form in stock.forms]


def require_fit(known: Mapping[str, Stock], stock: Stock, cells: Iterable[tuple[str, Form]]) -> None:
    """Refuse a stock that does not go on one of the cells, given as (code, form). Raises UsageFault."""
    for code, form in cells:
        if stock.where is not Where.BOX and form not in stock.forms:
            names = ", ".join(other.name for other in fitting(known, form))
            raise UsageFault(f"stock '{stock.name}' does not go on {code}, form {form}", f"these do: {names}")


def by_stock(
    known: Mapping[str, Stock], forms: Sequence[Form], name: str | None
) -> list[tuple[Stock, list[int]]]:
    """Stocks with the positions of the cells printed on each: the one named, else the one of each form."""
    if name is not None:
        return [(find_stock(known, name), list(range(len(forms))))]
    groups: dict[str, tuple[Stock, list[int]]] = {}
    for position, form in enumerate(forms):
        stock = stock_for(known, form)
        groups.setdefault(stock.name, (stock, []))[1].append(position)
    return list(groups.values())


def box_stock(known: Mapping[str, Stock], name: str | None) -> Stock:
    """The stock named, else the first for boxes. Raises UsageFault when the one named goes on cells."""
    boxes = [stock for stock in known.values() if stock.where is Where.BOX]
    chosen = boxes[0] if name is None else find_stock(known, name)
    if chosen.where is not Where.BOX:
        raise UsageFault(
            f"stock '{chosen.name}' goes on cells, not on a box",
            f"these do: {', '.join(s.name for s in boxes)}",
        )
    return chosen
