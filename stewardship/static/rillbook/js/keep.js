/* Forms with data-keep="name" do not lose what was typed: it is kept on this device until the server has it.

   Kept are fields whose value is not the one that the page came with; never files, passwords or hidden fields. A record goes when
   the server took the form, when somebody throws it away or signs out, and after two weeks. The words stand on the script's tag:
   data-still (with {time}), data-throw, data-lost, data-back; data-who tells log-ins on one device apart. */
{
  const said = document.currentScript.dataset;
  const probe = document.currentScript.src;
  const PREFIX = "kept/";
  const TWO_WEEKS = 14 * 24 * 3600 * 1000;
  const JUST_NOW = 5 * 60 * 1000;
  const PATIENCE = 5000; // [ms] a connection that takes longer to answer is none

  const shelf = {
    read(key) {
      try { return JSON.parse(localStorage.getItem(key)); } catch { return null; }
    },
    write(key, record) {
      try { localStorage.setItem(key, JSON.stringify(record)); } catch { /* no room, or not allowed: typing goes on */ }
    },
    drop(key) {
      try { localStorage.removeItem(key); } catch { /* nothing kept, nothing to drop */ }
    },
    keys() {
      try { return Object.keys(localStorage).filter((key) => key.startsWith(PREFIX)); } catch { return []; }
    },
  };

  const keeps = (field) =>
    field.name && !field.disabled && field.dataset.keepNot === undefined &&
    !["file", "password", "hidden", "submit", "button", "image", "reset"].includes(field.type);
  const ticks = (field) => field.type === "checkbox" || field.type === "radio";

  /* name → values, as they are now or (came) as the page came */
  function values(form, came = false) {
    const found = {};
    for (const field of form.elements) {
      if (!keeps(field)) continue;
      const list = (found[field.name] ??= []);
      if (ticks(field)) {
        if (came ? field.defaultChecked : field.checked) list.push(field.value);
      } else if (field.options) {
        const chosen = [...field.options].filter((one) => (came ? one.defaultSelected : one.selected));
        if (came && !chosen.length && field.type === "select-one" && field.options.length) chosen.push(field.options[0]);
        list.push(...chosen.map((one) => one.value));
      } else {
        list.push(came ? field.defaultValue : field.value);
      }
    }
    return found;
  }

  const same = (one, other) => JSON.stringify(one ?? []) === JSON.stringify(other ?? []);

  function put(form, kept) {
    let changed = false;
    const now = values(form);
    const came = values(form, true);
    const turn = {};
    for (const field of form.elements) {
      if (!keeps(field) || !(field.name in kept) || same(now[field.name], kept[field.name])) continue;
      if (!same(now[field.name], came[field.name])) continue; // somebody was quicker than this script
      const list = kept[field.name];
      if (ticks(field)) field.checked = list.includes(field.value);
      else if (field.options) for (const one of field.options) one.selected = list.includes(one.value);
      else field.value = list[(turn[field.name] = (turn[field.name] ?? -1) + 1)] ?? "";
      for (let part = field.closest("details"); part; part = part.parentElement.closest("details")) part.open = true;
      field.dispatchEvent(new Event("input", { bubbles: true }));
      changed = true;
    }
    return changed;
  }

  const clock = (at) => {
    const when = new Date(at);
    const hour = { hour: "2-digit", minute: "2-digit" };
    const today = when.toDateString() === new Date().toDateString();
    return when.toLocaleString(document.documentElement.lang, today ? hour : { day: "numeric", month: "short", ...hour });
  };

  function tell(form, words, button, press) {
    let line = form.querySelector(":scope > .kept");
    if (!line) {
      line = document.createElement("div");
      line.className = "kept";
      line.setAttribute("role", "status");
      form.prepend(line);
    }
    line.replaceChildren(Object.assign(document.createElement("p"), { textContent: words }));
    if (button) {
      const one = Object.assign(document.createElement("button"), { type: "button", className: "button-text", textContent: button });
      one.addEventListener("click", () => { line.remove(); press(); });
      line.append(one);
    }
    return line;
  }

  const arrived = performance.getEntriesByType("navigation")[0]?.type === "navigate" && document.referrer.startsWith(location.origin);
  const forms = new Map([...document.querySelectorAll("form[data-keep]")].map((form) => [`${PREFIX}${said.who}/${form.dataset.keep}`, form]));
  let forgotten = false; // somebody signs out
  const refused = (form) => form.querySelector(".error-summary, .errorlist") !== null;

  for (const key of shelf.keys()) {
    const record = shelf.read(key);
    // A page that came in answer to a sent form: unless it is that form again, to be put right, the server has taken it.
    const taken = record?.sent && arrived && Date.now() - record.sent < JUST_NOW && !(forms.has(key) && refused(forms.get(key)));
    if (!record || taken || Date.now() - record.at > TWO_WEEKS) shelf.drop(key);
  }

  for (const [key, form] of forms) {
    let open = true; // closed when what was typed is thrown away or sent
    const save = () => {
      if (!open || forgotten) return;
      const before = shelf.read(key)?.fields ?? {};
      const now = values(form);
      const came = values(form, true);
      const fields = {};
      for (const name in now) if (name in before || !same(now[name], came[name])) fields[name] = now[name];
      const differs = Object.keys(fields).some((name) => !same(fields[name], came[name]));
      if (differs || (refused(form) && Object.keys(fields).length)) shelf.write(key, { at: Date.now(), fields });
      else shelf.drop(key);
    };

    const record = shelf.read(key);
    if (record) {
      if (record.sent) shelf.write(key, { at: record.at, fields: record.fields });
      if (put(form, record.fields)) {
        tell(form, said.still.replace("{time}", clock(record.at)), said.throw, () => {
          shelf.drop(key);
          form.reset();
          for (const field of form.elements) if (keeps(field)) field.dispatchEvent(new Event("input", { bubbles: true }));
          shelf.drop(key);
          form.querySelector("input:not([type=hidden]), select, textarea")?.focus();
        });
      } else {
        save();
      }
    }

    let soon;
    const later = () => { clearTimeout(soon); soon = setTimeout(save, 200); };
    form.addEventListener("input", later);
    form.addEventListener("change", later);
    addEventListener("pagehide", save);
    document.addEventListener("visibilitychange", () => document.hidden && save());
    addEventListener("pageshow", (event) => { if (event.persisted) { open = true; sure = false; } });
    addEventListener("offline", () => tell(form, said.lost));
    addEventListener("online", () => form.querySelector(":scope > .kept") && tell(form, said.back));

    let sure = false; // that there is a connection
    let asking = false;
    form.addEventListener("submit", async (event) => {
      if (event.defaultPrevented) return;
      if (sure) {
        clearTimeout(soon);
        save();
        const kept = shelf.read(key);
        if (kept) shelf.write(key, { ...kept, sent: Date.now() });
        open = false;
        return;
      }
      event.preventDefault();
      if (asking) return; // pressed twice
      asking = true;
      const pressed = event.submitter;
      try {
        const answer = await fetch(probe, { method: "HEAD", cache: "no-store", signal: AbortSignal.timeout(PATIENCE) });
        if (answer.status >= 500) throw new Error(String(answer.status));
      } catch {
        save();
        const line = tell(form, said.lost);
        line.tabIndex = -1;
        line.focus();
        return;
      } finally {
        asking = false;
      }
      sure = true;
      form.requestSubmit(pressed);
      sure = false;
    });
  }

  for (const form of document.querySelectorAll("form[data-forget]")) {
    form.addEventListener("submit", () => {
      forgotten = true;
      shelf.keys().forEach(shelf.drop);
    });
  }
}
