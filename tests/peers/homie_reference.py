"""A controller of another make, against the built service and Debian's mosquitto.

Reads the program and the site file that the test `writes_homie_cases` names, starts a
broker with persistence and an access list and the service, and takes part with
paho-mqtt from PyPI. It knows the service by Homie alone, then checks:

* the device tree against the Homie convention 5.0 (https://homieiot.github.io, CC-BY
  4.0) and its mirror against 4.0.0, by rules written here from the text;
* the order of the lifecycle, the last will after a kill, and the clean removal;
* that every topic and payload on the wire is in deploy/asyncapi.yaml and valid against
  the schema that is named there, by PyYAML and jsonschema.
"""

import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time

import jsonschema
import paho.mqtt.client as mqtt
import yaml

PATIENCE_S = 60
ID = re.compile(r"^[a-z0-9-]+$")
DATATYPES = {
    "integer", "float", "boolean", "string", "enum", "color", "datetime", "duration", "json",
}
STATES = {"init", "ready", "disconnected", "sleeping", "lost"}
DEVICE_KEYS = {
    "homie", "version", "nodes", "name", "type", "children", "root", "parent", "extensions",
}
NODE_KEYS = {"name", "type", "properties"}
PROPERTY_KEYS = {"name", "datatype", "format", "settable", "retained", "unit"}


class Failure(Exception):
    """Something is not as it should be."""


def must(condition, text):
    if not condition:
        raise Failure(text)


def until(what, condition):
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        found = condition()
        if found:
            return found
        time.sleep(0.02)
    raise Failure(f"not within {PATIENCE_S} s: {what}")


class Ear:
    """Hears everything, in order: (topic, payload, retained, qos)."""

    def __init__(self, port, name):
        self.heard = []
        self.client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id=name)
        self.client.on_message = lambda _client, _data, m: self.heard.append(
            (m.topic, m.payload, bool(m.retain), m.qos)
        )
        self.subscribed = False

        def listens(*_arguments):
            self.subscribed = True

        self.client.on_subscribe = listens
        self.client.connect("127.0.0.1", port)
        self.client.subscribe("#", qos=2)
        self.client.loop_start()
        until("the broker listens", lambda: self.subscribed)

    def say(self, topic, payload):
        self.client.publish(topic, payload, qos=1).wait_for_publish(10)

    def after(self, start, what, is_it):
        return until(what, lambda: next((m for m in self.heard[start:] if is_it(m)), None))

    def close(self):
        self.client.disconnect()
        self.client.loop_stop()


def kept(port):
    """What the broker holds for a newcomer, by topic."""
    ear = Ear(port, "newcomer")
    time.sleep(1.0)
    ear.close()
    return {topic: payload for topic, payload, retained, _ in ear.heard if retained}


class Broker:
    def __init__(self, folder):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        access = os.path.join(folder, "access")
        with open(access, "w") as file:
            file.write("topic readwrite #\n")
        settings = os.path.join(folder, "mosquitto.conf")
        with open(settings, "w") as file:
            file.write(
                f"listener {self.port} 127.0.0.1\nallow_anonymous true\nacl_file {access}\n"
                f"persistence true\npersistence_location {folder}/\nuser root\n"
            )
        program = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
        self.process = subprocess.Popen(
            [program, "-c", settings], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        until("the broker is there", self.is_there)

    def is_there(self):
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def close(self):
        self.process.terminate()
        self.process.wait(10)


def start(program, folder, text):
    site = os.path.join(folder, "site.toml")
    with open(site, "w") as file:
        file.write(text)
    with open(os.path.join(folder, "log"), "a") as log:
        return subprocess.Popen([program, "run", site], stderr=log)


# --- the convention -----------------------------------------------------------------


def is_value(text, described):
    """Whether a payload is a value of a property: section "Payload"."""
    datatype, form = described["datatype"], described.get("format")
    if text == "\0":
        text = ""
    if datatype == "string":
        return True
    if datatype in ("integer", "float"):
        pattern = r"-?\d+" if datatype == "integer" else r"-?\d+(\.\d+)?([eE][+-]?\d+)?"
        if not re.fullmatch(pattern, text):
            return False
        low, high = ((form or "").split(":") + [""])[:2]
        number = float(text)
        return (not low or number >= float(low)) and (not high or number <= float(high))
    if datatype == "boolean":
        return text in ("true", "false")
    if datatype == "enum":
        return text in form.split(",")
    if datatype == "datetime":
        return re.fullmatch(
            r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:?\d\d)?", text
        )
    if datatype == "duration":
        return re.fullmatch(r"PT(?=.)(\d+H)?(\d+M)?(\d+S)?", text)
    if datatype == "json":
        document = json.loads(text)
        if form:
            jsonschema.validate(document, json.loads(form))
        return isinstance(document, (list, dict))
    return False


def check_description(device, text, root):
    """One `$description`: section "Device Attributes"."""
    document = json.loads(text)
    must(set(document) <= DEVICE_KEYS, f"{device}: unknown keys {set(document) - DEVICE_KEYS}")
    must(re.fullmatch(r"5\.\d+", document["homie"]), f"{device}: homie {document['homie']}")
    must(isinstance(document["version"], int), f"{device}: version is no integer")
    if device == root:
        must("root" not in document and "parent" not in document, f"{device} is the root")
    else:
        must(document.get("root") == root, f"{device}: root is {document.get('root')}")
    for node, content in document.get("nodes", {}).items():
        must(ID.match(node), f"{device}: node {node}")
        must(set(content) <= NODE_KEYS, f"{device}/{node}: {set(content)}")
        for name, described in content.get("properties", {}).items():
            place = f"{device}/{node}/{name}"
            must(ID.match(name), place)
            must(set(described) <= PROPERTY_KEYS, f"{place}: {set(described)}")
            must(described["datatype"] in DATATYPES, place)
            must(described["datatype"] != "enum" or described.get("format"), f"{place}: format")
            for key in ("settable", "retained"):
                must(isinstance(described.get(key, False), bool), f"{place}: {key}")
    return document


def check_tree(heard, root):
    """Everything below homie/5, in the order in which it was said."""
    state, documents, alerts = {}, {}, 0
    for topic, payload, _, _ in heard:
        levels = topic.split("/")
        if levels[:2] != ["homie", "5"] or levels[-1] == "set":
            continue
        text, device = payload.decode(), levels[2]
        must(ID.match(device), topic)
        if levels[3] == "$state":
            must(text in STATES, f"{topic}: {text}")
            if text == "ready":
                must(device in documents, f"{device} is ready before it is described")
            if state.get(device) is None:
                must(text == "init", f"{device} begins with {text}")
            state[device] = text
        elif levels[3] == "$description":
            must(
                state.get(device) in ("init", "disconnected", "lost"),
                f"{device} is described while {state.get(device)}",
            )
            documents[device] = check_description(device, text, root)
        elif levels[3] == "$alert":
            must(len(levels) == 5 and ID.match(levels[4]), topic)
            alerts += 1
        elif levels[3] == "$log":
            must(levels[4] in ("debug", "info", "warn", "error", "fatal"), topic)
        else:
            node, name = levels[3], levels[4]
            must(device in documents, f"{topic} before its description")
            described = documents[device]["nodes"][node]["properties"].get(name)
            must(described, f"{topic} is not described")
            must(levels[5:] in ([], ["$target"]), topic)
            must(is_value(text, described), f"{topic}: {text[:80]} is no {described}")
    listed = set()
    queue = [root]
    while queue:
        device = queue.pop()
        listed.add(device)
        children = documents[device].get("children", [])
        for child in children:
            parent = documents[child].get("parent", root)
            must(parent == device, f"{child}: parent {parent}, listed by {device}")
        queue.extend(children)
    must(listed == set(documents), f"{listed} are listed, {set(documents)} described")
    must(all(value == "ready" for value in state.values()), f"{state}")
    return documents, alerts


def check_mirror(held, documents):
    """Homie 4.0.0: sections "Device attributes" to "Property attributes"."""
    values = 0
    for device, document in documents.items():
        base = f"homie/{device}"
        at = lambda *levels: held.get("/".join([base, *levels]), b"").decode()
        must(at("$homie").startswith("4."), f"{base}/$homie")
        must(at("$state") == "ready", f"{base}/$state is {at('$state')}")
        for attribute in ("$name", "$nodes", "$extensions"):
            must(at(attribute), f"{base}/{attribute}")
        nodes = at("$nodes").split(",")
        must(set(nodes) == set(document["nodes"]), f"{base}: {nodes}")
        for node in nodes:
            for attribute in ("$name", "$type", "$properties"):
                must(at(node, attribute), f"{base}/{node}/{attribute}")
            for name in at(node, "$properties").split(","):
                datatype = at(node, name, "$datatype")
                must(
                    datatype in ("integer", "float", "boolean", "string", "enum", "color"),
                    f"{base}/{node}/{name}: {datatype}",
                )
                must(at(node, name, "$name"), f"{base}/{node}/{name}/$name")
                value = at(node, name)
                described = {"datatype": datatype, "format": at(node, name, "$format")}
                if value:
                    values += 1
                    must(is_value(value, described), f"{base}/{node}/{name}: {value}")
    return values


# --- the interface description ------------------------------------------------------


def channels(deploy):
    """(pattern of a topic, validator or None) for every channel."""
    with open(os.path.join(deploy, "asyncapi.yaml")) as file:
        description = yaml.safe_load(file)
    listed = []
    parameters = description["components"]["parameters"]
    own = {"prefix": "stowheat/mill-cottage", "domain": "homie"}
    for name, channel in description["channels"].items():

        def level(match, channel=channel):
            parameter = match.group(1)
            described = channel["parameters"][parameter]
            if "$ref" in described:
                described = parameters[described["$ref"].rsplit("/", 1)[1]]
            if parameter in own:
                return re.escape(own[parameter])
            choices = described.get("enum")
            return f"({'|'.join(map(re.escape, choices))})" if choices else "[^/$][^/]*"

        address = channel["address"].replace("$", re.escape("$"))
        pattern = re.compile(re.sub(r"\{(\w+)\}", level, address) + "$")
        payloads = []
        for message in channel["messages"].values():
            body = description["components"]["messages"][message["$ref"].rsplit("/", 1)[1]]
            payload = body["payload"]
            if "$ref" in payload:
                with open(os.path.join(deploy, payload["$ref"])) as file:
                    payload = json.load(file)
            is_text = body.get("contentType", "application/json").startswith("text/")
            payloads.append((jsonschema.Draft202012Validator(payload), is_text))
        listed.append((name, pattern, payloads))
    return listed


def check_interface(heard, listed, foreign):
    """Every topic and payload is described; how many by each channel."""
    used = {}
    for topic, payload, _, _ in heard:
        if topic in foreign or not payload:
            continue
        found = next((entry for entry in listed if entry[1].match(topic)), None)
        must(found, f"{topic} is in no channel")
        name, _, payloads = found
        used[name] = used.get(name, 0) + 1

        def is_valid(validator, is_text):
            value = payload.decode() if is_text else json.loads(payload)
            return validator.is_valid(value)

        must(any(is_valid(*entry) for entry in payloads), f"{topic}: {payload[:200]} ({name})")
    return used


# --- the session --------------------------------------------------------------------


def session(program, text, folder, deploy):
    broker = Broker(folder)
    site = text.replace("{port}", str(broker.port)).replace("{folder}", folder)
    ear = Ear(broker.port, "controller")
    service = start(program, folder, site)
    running = [service]
    try:
        # Discovery, as a controller does it: whatever has a $state and no root.
        def is_root(message):
            topic, payload, _, _ = message
            return topic.endswith("/$description") and b'"root"' not in payload

        root = ear.after(0, "a root device", is_root)[0].split("/")[2]
        base = f"homie/5/{root}"
        ear.after(0, "ready", lambda m: m[:2] == (f"{base}/$state", b"ready"))
        ear.say("house/top", "47")
        ear.after(0, "a schedule", lambda m: m[:2] == (f"{base}/plan/status", b"ok"))

        # A wish through the tree, one that does not fit, and one of the own documents.
        begin = len(ear.heard)
        ear.say(f"{base}/control/mode/set", "dance")
        ear.say(f"{base}/control/mode/set", "off")
        target = f"{base}/control/mode/$target"
        ear.after(begin, "$target", lambda m: m[:2] == (target, b"off"))
        ear.after(begin, "off", lambda m: m[:2] == (f"{base}/control/mode", b"off"))
        said = [m[1] for m in ear.heard[begin:] if m[0] == target]
        must(b"dance" not in said, "a value that does not fit was taken")
        command = {"schema": "stowheat/command/1", "id": "p1", "action": {"kind": "resume"}}
        begin = len(ear.heard)
        ear.say("stowheat/mill-cottage/v1/command", json.dumps(command))
        answer = "stowheat/mill-cottage/v1/answer"
        answered = lambda m: m[0] == answer and json.loads(m[1])["id"] == "p1"
        must(json.loads(ear.after(begin, "an answer", answered)[1])["outcome"] == "done", "p1")
        ear.after(begin, "auto", lambda m: m[:2] == (f"{base}/control/mode", b"auto"))
        boost = f"{base}-cylinder-immersion/heater/boost"
        begin = len(ear.heard)
        ear.say(f"{boost}/set", "PT20M")
        point = "stowheat/mill-cottage/v1/heaters/cylinder/immersion/set-point"
        boosted = lambda m: m[0] == point and b"boost by hand" in m[1]
        ear.after(begin, "a boost", boosted)
        time.sleep(1)

        held = kept(broker.port)
        documents, alerts = check_tree(ear.heard, root)
        for device, document in documents.items():
            for node, content in document["nodes"].items():
                for name, described in content["properties"].items():
                    topic = f"homie/5/{device}/{node}/{name}"
                    if not described.get("retained", True):
                        must(topic not in held, f"{topic} is kept")
        values = check_mirror(held, documents)
        must(not any(topic.endswith(("/set", "/set-point")) for topic in held), "a kept command")

        # Killed: the broker speaks the will, and it is kept.
        begin = len(ear.heard)
        service.send_signal(signal.SIGKILL)
        service.wait()
        lost = lambda m: m[:2] == (f"{base}/$state", b"lost")
        ear.after(begin, "the last will", lost)
        must(kept(broker.port)[f"{base}/$state"] == b"lost", "the will is not kept")

        # Back, and an orderly end.
        begin = len(ear.heard)
        service = start(program, folder, site)
        running.append(service)
        ear.after(begin, "ready again", lambda m: m[:2] == (f"{base}/$state", b"ready"))
        states = [m[1] for m in ear.heard[begin:] if m[0] == f"{base}/$state"]
        must(states[0] == b"init", f"it comes back by {states}")
        service.terminate()
        must(service.wait(10) == 0, "an orderly end")
        end = lambda m: m[:2] == (f"{base}/$state", b"disconnected")
        ear.after(begin, "disconnected", end)

        # Switched off: nothing is left, and each device is undiscovered first.
        begin = len(ear.heard)
        off = site.replace("homie_4_mirror = true", "homie = false")
        service = start(program, folder, off)
        running.append(service)
        until("the tree is gone", lambda: not [t for t in kept(broker.port) if "homie" in t])
        for device in documents:
            gone = [m[0] for m in ear.heard[begin:] if m[0].startswith(f"homie/5/{device}/")]
            must(gone and gone[0].endswith("/$state"), f"{device} is taken down by {gone[:2]}")
        service.terminate()
        must(service.wait(10) == 0, "an orderly end")

        used = check_interface(ear.heard, channels(deploy), {"house/top"})
        print(
            f"homie: {len(documents)} devices, {alerts} alerts, {values} mirrored values, "
            f"{sum(used.values())} messages on {len(used)} channels: {used}"
        )
    except Exception:
        with open(os.path.join(folder, "log")) as log:
            sys.stderr.write(log.read()[-4000:])
        raise
    finally:
        for process in running:
            if process.poll() is None:
                process.kill()
                process.wait()
        ear.close()
        broker.close()


def main():
    with open(sys.argv[1]) as file:
        cases = json.load(file)
    folder = tempfile.mkdtemp(prefix="stowheat-homie-")
    deploy = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "deploy")
    try:
        session(cases["program"], cases["site"], folder, deploy)
    except Failure as failure:
        print(f"homie: failed: {failure}")
        return 1
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
