"""A real mail server for the test: the first tries of each letter are refused, delayed or dropped; then it is taken.

Prints the port, then a line of JSON for every letter that it took. What it does with the tries of one letter stands in
the arguments, such as: refuse drop delay take.
"""

import asyncio
import email
import email.policy
import json
import sys

from aiosmtpd.smtp import SMTP

moods = sys.argv[1:]
tries = {}


class Handler:
    async def handle_RCPT(self, server, session, envelope, address, options):
        if address.startswith("nobody@"):
            return "550 5.1.1 no such person here"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        message = email.message_from_bytes(envelope.content, policy=email.policy.default)
        known = message["Message-ID"]
        mood = moods[min(tries.get(known, 0), len(moods) - 1)]
        tries[known] = tries.get(known, 0) + 1
        if mood == "refuse":
            return "451 4.3.0 not now"
        if mood == "drop":
            server.transport.abort()
            return "421 gone"
        if mood == "delay":
            await asyncio.sleep(2)
        parts = {part.get_content_type(): part.get_content() for part in message.iter_parts()}
        headers = {name: message[name] for name in ("From", "To", "Subject", "Message-ID", "Date", "Auto-Submitted")}
        headers |= {name: message[name] for name in ("List-Unsubscribe", "List-Unsubscribe-Post")}
        told = {"headers": headers, "parts": parts, "to": envelope.rcpt_tos, "tries": tries[known]}
        print(json.dumps(told), flush=True)
        return "250 OK"


async def main():
    loop = asyncio.get_running_loop()
    server = await loop.create_server(lambda: SMTP(Handler()), "127.0.0.1", 0)
    print(server.sockets[0].getsockname()[1], flush=True)
    # Until the test closes our input.
    await loop.run_in_executor(None, sys.stdin.read)
    server.close()


asyncio.run(main())
