"use strict";
// Takes in folders, zips and files: dropped, or chosen with a button.
(() => {
  const tell = (text) => {
    const place = document.getElementById("drop-told");
    if (place) place.textContent = text;
  };

  const ask = async (method, url, body) => {
    const answer = await fetch(url, {method, body});
    const told = await answer.json();
    if (!answer.ok) throw new Error(told.problem || "This can't be taken in.");
    return told;
  };

  const send = async (files) => {
    if (!files.length) return tell("Nothing was dropped: drop a folder, a zip or files.");
    try {
      const {token} = await ask("POST", "/drop");
      for (const [index, {name, file}] of files.entries()) {
        tell(`Taking in ${index + 1} of ${files.length}: ${name}`);
        await ask("PUT", `/drop/${token}/file?name=${encodeURIComponent(name)}`, file);
      }
      tell("Looking at what was dropped");
      const next = await ask("POST", `/drop/${token}/done`);
      location.href = next.session ? `/review?session=${next.session}` : `/setup?drop=${next.drop}`;
    } catch (problem) {
      tell(problem.message);
    }
  };

  const walk = async (entry, path, out) => {
    if (entry.isFile) {
      const file = await new Promise((done, fail) => entry.file(done, fail));
      if (!entry.name.startsWith(".")) out.push({name: path + entry.name, file});
      return;
    }
    const reader = entry.createReader();
    for (;;) {
      const some = await new Promise((done, fail) => reader.readEntries(done, fail));
      if (!some.length) break;
      for (const inner of some) await walk(inner, `${path}${entry.name}/`, out);
    }
  };

  const zone = (event) => event.target.closest?.("#drop");

  document.addEventListener("dragover", (event) => {
    const place = zone(event);
    if (!place) return;
    event.preventDefault();
    place.classList.add("over");
  });
  document.addEventListener("dragleave", (event) => zone(event)?.classList.remove("over"));
  document.addEventListener("drop", async (event) => {
    const place = zone(event);
    if (!place) return;
    event.preventDefault();
    place.classList.remove("over");
    const entries = [...event.dataTransfer.items].map((i) => i.webkitGetAsEntry?.());
    const out = [];
    for (const entry of entries.filter(Boolean)) await walk(entry, "", out);
    if (!out.length) for (const file of event.dataTransfer.files) out.push({name: file.name, file});
    await send(out);
  });

  document.addEventListener("click", (event) => {
    const kind = event.target.closest?.("#drop [data-pick]")?.dataset.pick;
    if (!kind) return;
    const chooser = document.createElement("input");
    Object.assign(chooser, {type: "file", multiple: true, webkitdirectory: kind === "folder"});
    chooser.addEventListener("change", () => send([...chooser.files].map(
      (file) => ({name: file.webkitRelativePath || file.name, file}))));
    chooser.click();
  });
})();
