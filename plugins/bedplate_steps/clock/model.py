"""The `[clock]` section: time zone, hardware clock, synchronisation."""

from typing import Literal

from bedplate.schema import Keywords, key, table


@table
class Clock:
    """Time zone, hardware clock and time synchronisation."""

    zone: str = key(
        "Name of the zone in the IANA Time Zone Database, such as Europe/Berlin.",
        title="Time zone",
        pattern="^[A-Za-z0-9_+-]+(/[A-Za-z0-9_+-]+){0,2}$",
        maxLength=64,
    )
    hardware_clock: Literal["utc", "local"] = key(
        "What the battery-backed clock shows: utc, or local where another system on the machine keeps it so.",
        default="utc",
    )
    sync: Literal["timesyncd", "chrony", "none"] = key(
        "The service that keeps the time right.", title="Time synchronisation", default="timesyncd"
    )
    servers: tuple[str, ...] = key(
        "Time servers by name or address. Left out: the ones the service's package names.",
        title="Time servers",
        minItems=1,
        maxItems=16,
        uniqueItems=True,
        items=Keywords(
            title="Server",
            description="Host name or address of a time server.",
            pattern="^[A-Za-z0-9][A-Za-z0-9.:-]*$",
            maxLength=253,
        ),
        default=(),
    )
