"""Runs inside the virtual machine: a virtual cube on its Bluetooth controller, and livecube.

bleak, D-Bus, bluetoothd and the kernel are the real ones; only below the kernel there is a
virtual controller, and a virtual cube that is heard by it.
"""

from __future__ import annotations

import asyncio
import json
import os
import signal
import sys
import time
from typing import Any

from bumble.controller import Controller
from bumble.link import LocalLink
from bumble.transport import open_transport

from livecube.cube.position import SOLVED, apply_turns, turn_name
from livecube.edges.virtual_radio.radio import VirtualSolver
from livecube.virtual.cube import simulated_cube
from livecube.virtual.session import VirtualSession, session

ADAPTER = "F0:F1:F2:F3:F4:0A"
SEED = 5
SPEED = 2.0
ADAPTERS = 4
BEGAN = time.monotonic()


class Link(LocalLink):
    """bumble's link, whose data has the address of its connection.

    The original takes the sender's random address, which the kernel changes for each scan.
    """

    def send_acl_data(
        self, sender_controller: Controller, destination_address: Any, transport: Any, data: bytes
    ) -> None:
        receiver = self.find_le_controller(destination_address)
        connection = sender_controller.le_connections.get(destination_address)
        if receiver is not None and connection is not None:
            asyncio.get_running_loop().call_soon(
                receiver.on_link_acl_data, connection.self_address, transport, data
            )


def say(text: str) -> None:
    print(f"{time.monotonic() - BEGAN:6.1f} s  {text}", flush=True)


def check(holds: object, what: str) -> None:
    if not holds:
        say(f"FAILED: {what}")
        sys.exit(1)
    say(f"ok: {what}")


async def livecube(*arguments: str) -> asyncio.subprocess.Process:
    return await asyncio.create_subprocess_exec(
        sys.executable, "-m", "livecube", *arguments,
        stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE,
    )  # fmt: skip


async def outcome(*arguments: str) -> tuple[int | None, str, str]:
    process = await livecube(*arguments)
    out, err = await process.communicate()
    return process.returncode, out.decode(), err.decode()


async def adapter_power(state: str, tries: int = 60) -> bool:
    """Switch the adapter on or off, as soon as bluetoothd has found it."""
    for _ in range(tries):
        process = await asyncio.create_subprocess_exec(
            "bluetoothctl", "power", state,
            stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.STDOUT,
        )  # fmt: skip
        out, _ = await process.communicate()
        if b"succeeded" in out:
            return True
        await asyncio.sleep(0.25)
    say(f"power {state}: {out.decode()[-200:].strip()}")
    return False


def new_solver(link: LocalLink, done: VirtualSession) -> VirtualSolver:
    position = bytes(apply_turns(SOLVED, done.scramble).tolist())
    return VirtualSolver(link, simulated_cube("turnwire")(position), done, time.monotonic, SPEED)


async def scanned() -> None:
    status, out, err = await outcome("scan", "--json", "--seconds", "2")
    check(status == 0, f"livecube scan ends well {err}")
    heard = [json.loads(line) for line in out.splitlines()]
    check([one["decoder"] for one in heard] == ["turnwire"], f"it hears the cube: {out.strip()}")


async def followed(solver: VirtualSolver, done: VirtualSession) -> None:
    """A whole solve, with the connection lost in the middle."""
    told: list[dict[str, Any]] = []
    turns = 0
    process = await livecube(
        *("live", "--json", "--no-hints", "--solves", "1"),
        *("--log", "/tmp/log.jsonl", "--capture"),
    )
    assert process.stdout is not None
    async for line in process.stdout:
        told.append(json.loads(line))
        turns += told[-1]["event"] == "turn"
        if told[-1]["event"] == "turn" and turns == 25:
            await solver.cube.drop_link()
            say("the cube ended the connection")
    status: int | None = await process.wait()
    assert process.stderr is not None
    err = (await process.stderr.read()).decode()
    check(status == 0, f"livecube live ends well after the solve {err.strip()}")
    reported = [one["turn"] for one in told if one["event"] == "turn"]
    check(reported == [turn_name(v.turn) for v in done.turns], f"all {len(reported)} turns, once")
    links = [one["up"] for one in told if one["event"] == "link"]
    check(links == [False, True], "the loss and the return were reported")
    check(any(one["event"] == "device" for one in told), "the cube reports its device information")
    check(any(one["event"] == "battery" for one in told), "and its battery")
    solve = next(one for one in told if one["event"] == "solve")
    check(solve["solved"] and not solve["gap"], f"solved in {solve['seconds']} s, nothing lost")
    check(len(solve["stages"]) == 8, "eight stages")
    status, out, err = await outcome(
        "replay", "/tmp/log.jsonl", "--packets", "--json", "--no-hints"
    )
    again = [json.loads(line) for line in out.splitlines()]
    check(
        [one for one in again if one["event"] == "solve"] == [solve],
        f"the captured packets give the same solve {err.strip()[-300:]}",
    )


async def refused() -> None:
    """Errors of Bluetooth are reported in words."""
    check(await adapter_power("off"), "the adapter is switched off")
    status, _, err = await outcome("scan")
    check(status == 2 and "switched off" in err, err.strip())
    os.kill(int(os.environ["BLUETOOTHD"]), signal.SIGTERM)
    await asyncio.sleep(0.5)
    status, _, err = await outcome("scan")
    check(status == 2 and "not running" in err, err.strip())


async def plugged_in(done: VirtualSession) -> bool:
    """Plug an adapter in, with a cube near it, and go through everything; False: it did not start.

    The kernel gives an adapter two seconds to answer, which an emulated machine on a busy host
    does not always keep; such an adapter is pulled out again.
    """
    async with await open_transport("vhci") as transport:
        link = Link()  # type: ignore[no-untyped-call]
        Controller(
            "adapter",
            host_source=transport.source,
            host_sink=transport.sink,
            link=link,
            public_address=ADAPTER,
        )
        if not await adapter_power("on", tries=25):
            return False
        say("the adapter is on")
        solver = new_solver(link, done)
        solving = asyncio.create_task(solver.run())
        await scanned()
        await followed(solver, done)
        await solving
        await refused()
    return True


async def main() -> None:
    # First, since it takes seconds here, and the kernel does not wait for its controller.
    done = session(SEED, 1, on_cube=False)
    say("the virtual solver has solved the cube")
    for _ in range(ADAPTERS):
        if await plugged_in(done):
            return
    check(False, f"one of {ADAPTERS} adapters starts")


asyncio.run(main())
