"use strict";

// What each call answered last on this page, for bodies that refer to it.
const answers = {};

// "=Catalog.GetSite:etag" in a request stands for part of an earlier answer.
function resolved(value) {
  if (Array.isArray(value)) return value.map(resolved);
  if (value && typeof value === "object") return Object.fromEntries(Object.entries(value).map(([k, v]) => [k, resolved(v)]));
  if (typeof value !== "string" || !value.startsWith("=")) return value;
  const [, method, path, key, text] = value.match(/^=([^:]+):([^|]*)(?:\|([^=]+)=(.*))?$/) || [];
  if (!(method in answers)) throw new Error(`the request uses the answer of ${method || value}: send that first`);
  let found = answers[method];
  for (const step of path.split(".").filter(Boolean)) found = found == null ? undefined : found[step];
  if (found === undefined) throw new Error(`the answer of ${method} has no ${path}`);
  return key ? { ...found, [key]: text } : found;
}

async function send(form) {
  const button = form.querySelector("button"), said = form.querySelector("output"), shown = form.querySelector("pre");
  const { verb, method } = form.dataset;
  const headers = {}, token = document.getElementById("token").value.trim();
  if (token) headers.Authorization = "Bearer " + token;
  button.disabled = true;
  said.className = "";
  said.textContent = "sending …";
  try {
    let body;
    if (form.elements.body) {
      const text = form.elements.body.value;
      // As typed, so that the service itself says what is wrong with it.
      body = text.includes('"=') ? JSON.stringify(resolved(JSON.parse(text))) : text;
      headers["Content-Type"] = "application/json";
    }
    const path = form.elements.path.value.replace(/=%3D([^&]+)/g, (_, reference) => "=" + encodeURIComponent(resolved("=" + decodeURIComponent(reference))));
    if (!path.startsWith("/v1/")) throw new Error("a path begins with /v1/");
    const answer = await fetch(path, { method: verb, headers, body, credentials: "omit", cache: "no-store" });
    let text = await answer.text();
    try {
      const value = JSON.parse(text);
      if (answer.ok) answers[method] = value;
      text = JSON.stringify(value, null, 2);
    } catch { /* lines of a stream stay lines */ }
    said.textContent = `${answer.status} ${answer.ok ? "answered" : "refused"}`;
    said.className = answer.ok ? "good" : "bad";
    shown.textContent = text;
    shown.hidden = false;
  } catch (fault) {
    said.textContent = "not sent: " + fault.message;
    said.className = "bad";
  } finally {
    button.disabled = false;
  }
}

document.addEventListener("submit", (event) => {
  event.preventDefault();
  send(event.target);
});

const calls = [...document.querySelectorAll("details.call")];
document.getElementById("find").addEventListener("input", (event) => {
  const words = event.target.value.toLowerCase().split(/\s+/).filter(Boolean);
  let count = 0;
  for (const call of calls) {
    const text = (call.id + " " + call.querySelector("code").textContent + " " + call.querySelector("p").textContent).toLowerCase();
    call.hidden = !words.every((w) => text.includes(w));
    if (!call.hidden) count++;
  }
  for (const section of document.querySelectorAll("section")) section.hidden = !section.querySelector("details.call:not([hidden])");
  document.getElementById("found").textContent = words.length ? `${count} of ${calls.length} calls` : "";
});

// A link to one call opens it.
const linked = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
if (linked && linked.matches("details")) linked.open = true;
