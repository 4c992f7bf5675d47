// Opens a page in Chromium and tells what is so, as JSON on standard output.
//
//     node browser.mjs CHROMIUM PAGE AXE [PICTURES]
//
// It speaks the DevTools protocol through a pipe: messages of JSON, each ended
// by a zero byte. Nothing but Node's own library is needed, and the page is
// looked at as it is, its security policy in force. PICTURES names a folder
// for screenshots.

import { spawn } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { pathToFileURL } from "node:url";

const [chromium, page, axeFile, pictures] = process.argv.slice(2);
const address = pathToFileURL(page).href;
const axe = readFileSync(axeFile, "utf8");
const profile = mkdtempSync(join(tmpdir(), "linehue-page-"));

const browser = spawn(
  chromium,
  [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--hide-scrollbars",
    "--remote-debugging-pipe",
    `--user-data-dir=${profile}`,
    "about:blank",
  ],
  { stdio: ["ignore", "ignore", "ignore", "pipe", "pipe"] },
);
const [out, into] = [browser.stdio[3], browser.stdio[4]];

let count = 0;
const waiting = new Map();
const listeners = new Set();
let rest = "";
into.setEncoding("utf8");
into.on("data", (text) => {
  const parts = (rest + text).split("\0");
  rest = parts.pop();
  for (const part of parts) {
    const message = JSON.parse(part);
    if (message.id && waiting.has(message.id)) {
      const { done, failed } = waiting.get(message.id);
      waiting.delete(message.id);
      if (message.error) failed(new Error(message.error.message));
      else done(message.result);
    } else {
      for (const listener of listeners) listener(message);
    }
  }
});
browser.on("exit", (code) => {
  for (const { failed } of waiting.values()) {
    failed(new Error(`the browser ended with ${code}`));
  }
});

const send = (method, params = {}, sessionId = undefined) =>
  new Promise((done, failed) => {
    count += 1;
    waiting.set(count, { done, failed });
    out.write(`${JSON.stringify({ id: count, method, params, sessionId })}\0`);
  });

// Opens the page and waits until it is loaded.
async function open({ width, height, dark, scripts, still }) {
  const { targetId } = await send("Target.createTarget", { url: "about:blank" });
  const { sessionId } = await send("Target.attachToTarget", { targetId, flatten: true });
  const ask = (method, params) => send(method, params, sessionId);
  const seen = { asked: [], complaints: [] };
  let loaded;
  const load = new Promise((done) => {
    loaded = done;
  });
  const listener = (message) => {
    if (message.sessionId !== sessionId) return;
    const { method, params } = message;
    if (method === "Page.loadEventFired") loaded();
    if (method === "Network.requestWillBeSent") seen.asked.push(params.request.url.slice(0, 200));
    if (method === "Log.entryAdded") seen.complaints.push(params.entry.text);
    if (method === "Runtime.exceptionThrown") seen.complaints.push(params.exceptionDetails.text);
  };
  listeners.add(listener);
  for (const domain of ["Page", "Network", "Log", "Runtime"]) await ask(`${domain}.enable`);
  await ask("Emulation.setDeviceMetricsOverride", {
    width,
    height,
    deviceScaleFactor: 1,
    mobile: false,
  });
  await ask("Emulation.setEmulatedMedia", {
    features: [
      { name: "prefers-color-scheme", value: dark ? "dark" : "light" },
      { name: "prefers-reduced-motion", value: still ? "reduce" : "no-preference" },
    ],
  });
  if (!scripts) await ask("Emulation.setScriptExecutionDisabled", { value: true });
  await ask("Page.navigate", { url: address });
  await load;
  const evaluate = async (expression) => {
    const { result, exceptionDetails } = await ask("Runtime.evaluate", {
      expression,
      awaitPromise: true,
      returnByValue: true,
    });
    if (exceptionDetails) {
      throw new Error(exceptionDetails.exception?.description ?? exceptionDetails.text);
    }
    return result.value;
  };
  const close = async () => {
    listeners.delete(listener);
    await send("Target.closeTarget", { targetId });
  };
  const picture = async (name, params = {}) => {
    if (!pictures) return;
    const { cssContentSize } = await ask("Page.getLayoutMetrics");
    const { data } = await ask("Page.captureScreenshot", {
      captureBeyondViewport: true,
      clip: { x: 0, y: 0, width, height: cssContentSize.height, scale: 1 },
      ...params,
    });
    writeFileSync(join(pictures, `${name}.png`), Buffer.from(data, "base64"));
  };
  return { ask, evaluate, close, picture, seen };
}

// What the checker finds against the rules of WCAG 2.2 A and AA and its own
// good practice.
async function violations(look) {
  const view = await open({ scripts: true, ...look });
  await view.evaluate(axe);
  const found = await view.evaluate(`axe.run(document).then((told) => ({
    violations: told.violations.map((rule) => [
      rule.id, rule.help, ...rule.nodes.map((node) => node.html.slice(0, 200))]),
    passes: told.passes.map((rule) => rule.id),
  }))`);
  await view.picture(`${look.width}-${look.dark ? "dark" : "light"}`);
  const overflow = await view.evaluate(
    "document.documentElement.scrollWidth - document.documentElement.clientWidth",
  );
  const holds = await view.evaluate(`({
    scripts: document.scripts.length,
    images: document.images.length,
    heading: document.querySelector("h1").textContent,
  })`);
  await view.close();
  return { ...look, ...found, overflow, ...holds, ...view.seen };
}

const STATE = `(() => {
  const range = document.getElementById("edge");
  const second = document.getElementById("picture-2");
  const style = getComputedStyle(second);
  const [first, other] = [...document.querySelectorAll("#stage img")].map((picture) => {
    const { left, top, width, height } = picture.getBoundingClientRect();
    return { left, top, width, height };
  });
  const box = document.getElementById("stage").getBoundingClientRect();
  const control = document.querySelector(".control");
  return {
    value: Number(range.value),
    words: range.getAttribute("aria-valuetext"),
    edge: document.getElementById("pair").style.getPropertyValue("--edge"),
    clip: style.clipPath,
    transition: style.transitionDuration,
    focused: document.activeElement === range,
    outline: getComputedStyle(range).outlineStyle,
    name: document.querySelector("label[for=edge]").textContent,
    control: control.checkVisibility(),
    divider: document.getElementById("divider").checkVisibility(),
    pictures: [first, other],
    complete: [...document.images].every((picture) => picture.naturalWidth > 0),
    stage: { left: box.left, top: box.top, width: box.width, height: box.height },
  };
})()`;

async function press(view, key, code, times = 1) {
  for (let time = 0; time < times; time += 1) {
    for (const type of ["keyDown", "keyUp"]) {
      await view.ask("Input.dispatchKeyEvent", {
        type,
        key,
        code: key,
        windowsVirtualKeyCode: code,
        nativeVirtualKeyCode: code,
      });
    }
  }
}

// The edge by keys, by mouse and by touch; real events, as a hand makes them.
async function hands() {
  const view = await open({ width: 1000, height: 900, dark: false, scripts: true, still: true });
  const told = { start: await view.evaluate(STATE) };
  for (let tabs = 0; tabs < 5; tabs += 1) {
    await press(view, "Tab", 9);
    if ((await view.evaluate(STATE)).focused) break;
  }
  told.focused = await view.evaluate(STATE);
  await press(view, "ArrowRight", 39, 3);
  told.right = await view.evaluate(STATE);
  await press(view, "ArrowLeft", 37, 10);
  told.left = await view.evaluate(STATE);
  await press(view, "Home", 36);
  told.home = await view.evaluate(STATE);
  await press(view, "End", 35);
  told.end = await view.evaluate(STATE);

  const { left, top, width } = told.start.stage;
  const at = (share) => ({ x: Math.round(left + share * width), y: Math.round(top + 60) });
  const mouse = (type, share, buttons) =>
    view.ask("Input.dispatchMouseEvent", { type, ...at(share), button: "left", buttons, clickCount: 1 });
  await mouse("mousePressed", 0.5, 1);
  await mouse("mouseMoved", 0.35, 1);
  await mouse("mouseMoved", 0.25, 1);
  await mouse("mouseReleased", 0.25, 0);
  told.dragged = await view.evaluate(STATE);
  await mouse("mouseMoved", 0.9, 0);
  told.after = await view.evaluate(STATE);

  await view.ask("Emulation.setTouchEmulationEnabled", { enabled: true });
  const touch = (type, share) =>
    view.ask("Input.dispatchTouchEvent", {
      type,
      touchPoints: share === undefined ? [] : [at(share)],
    });
  await touch("touchStart", 0.4);
  await touch("touchMove", 0.6);
  await touch("touchMove", 0.8);
  await touch("touchEnd");
  told.touched = await view.evaluate(STATE);
  await view.close();

  const moving = await open({ width: 1000, height: 900, scripts: true, still: false });
  told.moving = await moving.evaluate(STATE);
  await moving.close();
  return told;
}

async function without() {
  const view = await open({ width: 1000, height: 900, dark: false, scripts: false });
  const told = await view.evaluate(STATE);
  await view.picture("without-scripts");
  await view.close();
  return { ...told, ...view.seen };
}

async function printed() {
  const view = await open({ width: 1000, height: 900, dark: true, scripts: true });
  await view.ask("Emulation.setEmulatedMedia", { media: "print" });
  const told = await view.evaluate(STATE);
  if (pictures) {
    const { data } = await view.ask("Page.printToPDF", { printBackground: true });
    writeFileSync(join(pictures, "printed.pdf"), Buffer.from(data, "base64"));
  }
  await view.close();
  return told;
}

async function all() {
  const told = { looks: [] };
  const pair = axe && readFileSync(page, "utf8").includes('id="edge"');
  for (const dark of [false, true]) {
    for (const width of [1280, 320]) {
      told.looks.push(await violations({ width, height: 800, dark }));
    }
  }
  if (pair) {
    told.hands = await hands();
    told.without = await without();
    told.printed = await printed();
  }
  return told;
}

let ended = 0;
try {
  process.stdout.write(`${JSON.stringify(await all())}\n`);
} catch (error) {
  process.stderr.write(`${error.stack}\n`);
  ended = 1;
} finally {
  browser.removeAllListeners("exit");
  const gone = new Promise((done) => browser.once("exit", done));
  await send("Browser.close").catch(() => browser.kill());
  await gone;
  rmSync(profile, { recursive: true, force: true });
}
process.exit(ended);
