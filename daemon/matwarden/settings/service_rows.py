"""The tables of what the station serves and who is told: [store], [control], [mqtt], [push], [digest] and the like."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from matwarden.settings.row_parts import HOST, TEXT, TIME_OF_DAY, FilePath, Id, Number, Row, Text


class Store(Row):
    """Where everything recorded is kept."""

    directory: FilePath = Field("/var/lib/matwarden", description="Directory. Default /var/lib/matwarden.")
    commit_every_s: Number = Field(
        300.0, ge=1, le=300, description="Seconds of readings a power cut may cost. Default 300."
    )
    keep_raw_days: int = Field(400, ge=2, le=3650, description="Days single readings are kept. Default 400.")
    keep_free_mb: int = Field(
        500,
        ge=100,
        le=1_000_000,
        description="Megabytes of the disk left free: the oldest readings go before there are fewer. Default 500.",
    )


class Control(Row):
    """Where the keeper's commands reach the running station."""

    socket: FilePath = Field("/run/matwarden/control.sock", description="Default /run/matwarden/control.sock.")


class Mqtt(Row):
    """A broker that is told everything. Leave the table out to publish nothing."""

    host: str = Field(pattern=HOST, max_length=253, description="The broker's host name or address.")
    port: int | None = Field(None, ge=1, le=65535, description="Default 1883, with tls 8883.")
    protocol: Literal["5", "3.1.1"] = Field("5", description="MQTT version. Default 5.")
    username: Text | None = Field(None, description="User name at the broker.")
    password_file: FilePath | None = Field(
        None, description="File that holds the password and nothing else, or credential:NAME."
    )
    tls: bool = Field(False, description="Whether the connection is encrypted. Default false.")
    ca_file: FilePath | None = Field(
        None, description="Certificate authority of the broker. Default: those of the system."
    )
    certificate_file: FilePath | None = Field(None, description="Client certificate, if the broker asks for one.")
    key_file: FilePath | None = Field(None, description="Private key of the client certificate.")
    topic_domain: Id = Field("homie", description="First part of every topic. Default homie.")
    qos: Literal[1, 2] = Field(1, description="Quality of service of all topics. Default 1.")
    will_delay_s: int = Field(
        30,
        ge=0,
        le=3600,
        description="Seconds before the broker reports a lost station (MQTT 5). Default 30.",
    )
    expire_after_s: int | None = Field(
        None, ge=1, le=86400, description="Seconds the broker keeps a reading (MQTT 5). Default 5 polls."
    )
    acknowledge: bool = Field(
        False, description="Whether alarms can be acknowledged over MQTT, and nothing else. Default false."
    )


class PushTargetRow(Row):
    """One phone or service that is pushed to: exactly one of url_file and url."""

    name: Id = Field(description="What logs call it.")
    url_file: FilePath | None = Field(
        None, description="File whose first line is the address of the service, or credential:NAME."
    )
    url: Annotated[str, Field(pattern=TEXT, max_length=2000)] | None = Field(
        None,
        description="The address itself, if it holds no secret: file:PATH, or a service on this machine.",
    )
    priorities: list[Literal["high", "medium", "low"]] = Field(
        ["high", "medium", "low"], min_length=1, description="Only pushes of these go there. Default all three."
    )
    second: bool = Field(False, description="Whether it is told only of what nobody acknowledged. Default false.")


class Push(Row):
    """Messages to a phone. Leave the table out to push nothing."""

    give_up_after_h: Number = Field(72.0, ge=1, le=720, description="Hours a push is tried. Default 72.")
    keep: int = Field(1000, ge=10, le=100_000, description="Pushes kept at most. Default 1000.")
    quiet_from: str | None = Field(
        None, pattern=TIME_OF_DAY, description="Local time of day from which low pushes wait. Default: they never do."
    )
    quiet_until: str | None = Field(None, pattern=TIME_OF_DAY, description="Local time of day until which they wait.")
    target: list[PushTargetRow] = Field(description="Who is pushed to.")


class Digest(Row):
    """The nightly summary."""

    at: str = Field("08:00", pattern=TIME_OF_DAY, description="Local time of day, HH:MM. Default 08:00.")
    enabled: bool = Field(True, description="Whether it is made. Default true.")
    picture: bool = Field(
        False, description="Whether a picture of the night goes with its push; needs matwarden[report]. Default false."
    )
    pages: FilePath | None = Field(
        None, description="Directory for a web page of each night; needs matwarden[report]. Default: no pages."
    )


class Upkeep(Row):
    """When things are due, counted from the day that `matwarden done` was told. Common practice among keepers."""

    substrate_from_months: int = Field(3, ge=1, le=36, description="Months after which it may be changed. Default 3.")
    substrate_by_months: int = Field(6, ge=1, le=36, description="Months after which it is overdue. Default 6.")
    split_from_months: int = Field(2, ge=1, le=36, description="Months that a kept old half waits. Default 2.")
    split_by_months: int = Field(3, ge=1, le=36, description="Months after which it is overdue. Default 3.")
    food_from_days: int = Field(4, ge=1, le=90, description="Days between two feedings, at least. Default 4.")
    food_by_days: int = Field(7, ge=1, le=90, description="Days after which food is overdue. Default 7.")
    check_months: int = Field(12, ge=1, le=60, description="Months between two checks of the probes. Default 12.")


class WatchRow(Row):
    """Another station (or watcher) at the same broker, for which this one calls when it is dead."""

    id: Id = Field(description="Its house id.")
    name: Text | None = Field(None, description="Name for people. Default: the id, capitalised.")
    lost_after_min: Number = Field(
        5.0,
        ge=0.1,
        le=1440,
        description="Minutes it may be gone from the broker, besides its will_delay_s. Default 5.",
    )
    stale_after_min: Number = Field(
        15.0, ge=0.5, le=1440, description="Minutes it may be there without a fresh reading. Default 15."
    )
    no_digest_after_h: Number = Field(
        26.0, ge=0, le=720, description="Hours old its last digest may be; 0: any age. Default 26."
    )


class Heartbeat(Row):
    """An address of a service that calls you when it is no longer asked for. Leave the table out to ask for none."""

    url_file: FilePath = Field(description="File whose first line is the http(s) address, or credential:NAME.")
    every_min: Number = Field(5.0, ge=1, le=1440, description="Minutes between two heartbeats. Default 5.")
