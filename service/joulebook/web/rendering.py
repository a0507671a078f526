"""The templates and what they may call. A template formats; it never computes."""

from jinja2 import Environment, PackageLoader, StrictUndefined

from joulebook.core.daily.energy import METER_LIMIT_RATIO
from joulebook.web.assets import PLOTLY, Assets
from joulebook.web.frame import PAPER
from joulebook.web.region import formats
from joulebook.web.words import texts

_FILTERS = (
    formats.age,
    formats.day_brief,
    formats.day_long,
    formats.day_plain,
    formats.day_short,
    formats.fixed,
    formats.interval,
    formats.iso_brief,
    formats.iso_plain,
    formats.kw_cell,
    formats.kwh_cell,
    formats.kwh_interval,
    formats.kwh_whole,
    formats.measured,
    formats.method_pages,
    formats.month_short,
    formats.odds,
    formats.percent,
    formats.percent_interval,
    formats.signed,
    formats.told,
)


def template_environment(assets: Assets, *, version: str) -> Environment:
    """Return the environment of the package's templates."""
    environment = Environment(
        loader=PackageLoader("joulebook.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {each.__name__: each for each in _FILTERS}
    environment.filters |= {"moment": formats.moment, "clock": formats.clock}
    environment.globals.update(
        asset=assets.url,
        plotly=assets.url(PLOTLY),
        labels=texts.LABELS,
        short_labels=texts.SHORT_LABELS,
        workings=texts.WORKINGS,
        meter_limit=METER_LIMIT_RATIO,
        paper=PAPER,
        version=version,
    )
    return environment
