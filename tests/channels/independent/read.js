// Discovers every device of a broker as a controller would, and prints what it understood: one line
// of JSON whenever that differs from the line before. Arguments: the broker's port.
const { DeviceDiscovery } = require("node-homie");

const devices = new Map();
const discovery = new DeviceDiscovery({ url: `mqtt://127.0.0.1:${process.argv[2]}`, topicRoot: "homie" });
let last = "";

discovery.events$.subscribe((event) => {
  if (event.type === "add" && !devices.has(event.deviceId)) {
    const device = event.makeDevice();
    devices.set(event.deviceId, device);
    device.onInit();
  } else if (event.type === "remove" && devices.has(event.deviceId)) {
    devices.get(event.deviceId).onDestroy();
    devices.delete(event.deviceId);
  }
});

function values(device) {
  const found = {};
  for (const node of Object.values(device.nodes)) {
    for (const property of Object.values(node.properties)) {
      const typed = property.value === undefined ? undefined : property.valueAsType;
      found[`${node.id}/${property.id}`] = {
        text: property.value,
        datatype: property.attributes.datatype,
        settable: property.attributes.settable,
        retained: property.attributes.retained,
        kind: typed instanceof Date ? "date" : typeof typed,
      };
    }
  }
  return found;
}

function understood() {
  const found = {};
  for (const [id, device] of devices) {
    found[id] = {
      state: device.deviceState,
      name: device.attributes.name,
      alerts: Object.fromEntries(device.alerts),
      values: values(device),
    };
  }
  return found;
}

setInterval(() => {
  const now = JSON.stringify(understood());
  if (now !== last) {
    last = now;
    process.stdout.write(now + "\n");
  }
}, 100);
process.stdin.on("end", () => process.exit(0)).resume();
discovery.onInit();
