"""Makes every worked call through the client that was made from the OpenAPI file.

Arguments: the folder of the client, the address of the service, the file of calls.
Each request becomes objects of the client's classes, and must be the same as JSON
again; each answer must be, as JSON again, what the service answered. A call marked
MayMove is made too, but the service may have moved on since its plain answer.
"""

import json
import re
import sys
import types

folder, address, calls = sys.argv[1:]
sys.path.insert(0, folder)

import made  # noqa: E402
from dateutil.parser import isoparse  # noqa: E402

client = made.ApiClient(made.Configuration(host=address))


def words(name):
    """Write BatchCompute as batch_compute, as the client's methods are named."""
    return re.sub(r"(?<=[a-z])(?=[A-Z])", "_", name).lower()


def typed(value, kind):
    return client.deserialize(types.SimpleNamespace(data=json.dumps(value)), kind)


def differs(got, want, at=""):
    """Say where got is not want, or return None; null and absent are the same."""
    if isinstance(got, dict) and isinstance(want, dict):
        for key in sorted(set(got) | set(want)):
            if found := differs(got.get(key), want.get(key), f"{at}.{key}"):
                return found
        return None
    if isinstance(got, list) and isinstance(want, list) and len(got) == len(want):
        return next(filter(None, (differs(g, w, f"{at}[{i}]") for i, (g, w) in enumerate(zip(got, want)))), None)
    if got == want and isinstance(got, bool) == isinstance(want, bool):
        return None
    # An instant comes back with another way to write UTC.
    if isinstance(got, str) and isinstance(want, str) and re.match(r"\d{4}-\d\d-\d\dT", want) and isoparse(got) == isoparse(want):
        return None
    return f"{at or 'all'}: {json.dumps(got):.300} where it was {json.dumps(want):.300}"


faults = []
for call in json.load(open(calls)):
    name = words(call["Operation"])
    method = getattr(getattr(made, call["Service"] + "Api")(client), name)
    arguments = {words(key): value for key, value in {**call["Path"], **call["Query"]}.items()}
    if call["Body"] is not None:
        kind, body = re.findall(r":param (\w+) (\w+):.*\(required\)", method.__doc__)[-1]
        arguments[body] = typed(call["Body"], kind)
        if found := differs(client.sanitize_for_serialization(arguments[body]), call["Body"]):
            faults.append(f"{name}, the request: {found}")
    raw, kind = call["Raw"], re.search(r":return: (\w+)", method.__doc__)[1]
    try:
        answer = method(**arguments)
    except made.ApiException as error:  # refused by the service
        if not call["MayMove"]:
            faults.append(f"{name}: {error}")
            continue
    if call["MayMove"]:  # the plain answer goes through the classes
        answer = typed(raw, kind)
    if type(answer) is not getattr(made, kind):
        faults.append(f"{name}: the answer is a {type(answer)}")
    if found := differs(client.sanitize_for_serialization(answer), raw):
        faults.append(f"{name}: {found}")
if faults:
    sys.exit("\n".join(faults))
