/* A part nobody has measured yet: readings are typed into the table and saved as the finished sheet. Scans that may be
   put together in more than one way: one click saves the sheet with the right one. */

/** The sheet's lines as they stand, readings typed included; null while what is typed is no length. */
let sheetLines = null;
let withWay = (lines) => lines;

const typedText = document.getElementById("typed");
if (typedText) {
  const typed = JSON.parse(typedText.textContent);
  const inputs = [...document.querySelectorAll("input.reading")];
  const told = document.getElementById("typing-state");

  /** The figure typed, with a point or a comma; NaN for what is none. */
  const figureOf = (text) => (/^\d+([.,]\d+)?$/.test(text) ? Number(text.replace(",", ".")) : NaN);

  for (const input of inputs) {
    input.addEventListener("input", () => {
      const text = input.value.trim();
      const wrong = text !== "" && !(figureOf(text) > 0);
      input.setAttribute("aria-invalid", String(wrong));
      told.textContent = stateInWords();
    });
  }

  function stateInWords() {
    const wrong = inputs.filter((input) => input.getAttribute("aria-invalid") === "true").length;
    if (wrong > 0) return `${wrong} of what is typed is no length: write millimetres such as 24.06.`;
    const filled = inputs.filter((input) => input.value.trim() !== "").length;
    return `${filled} of ${inputs.length} readings typed.`;
  }

  /** The drafted sheet with every reading in its place; a row without one stays as it was drafted. */
  function finishedSheet() {
    const lines = typed.lines.slice();
    inputs.forEach((input, row) => {
      const text = input.value.trim();
      if (text === "") return;
      lines[typed.readings[row]] = `reading = ${text.replace(",", ".").replace(/^0+(?=\d)/, "")}`;
      const gauge = input.parentElement.querySelector("select.gauge");
      if (gauge) lines[typed.gauges[row]] = `gauged = "${gauge.value}"`;
    });
    return lines;
  }

  sheetLines = () => {
    const wrong = inputs.find((input) => input.getAttribute("aria-invalid") === "true");
    told.textContent = stateInWords();
    if (!wrong) return finishedSheet();
    wrong.focus();
    return null;
  };

  document.getElementById("save-sheet").addEventListener("click", () => {
    const lines = sheetLines();
    if (lines) saveAs(typed.file, withWay(lines).join("\n"), "application/toml");
  });
}

const waysText = document.getElementById("ways");
if (waysText) {
  const ways = JSON.parse(waysText.textContent);
  const buttons = [...document.querySelectorAll("button.way")];
  let chosen = null;

  withWay = (lines) =>
    chosen === null ? lines : lines.toSpliced(ways.at, ways.replaces ? 1 : 0, `join = ${chosen}`);

  for (const button of buttons) {
    button.addEventListener("click", () => {
      const lines = sheetLines ? sheetLines() : ways.lines;
      if (!lines) return;
      chosen = Number(button.dataset.way);
      for (const each of buttons) each.setAttribute("aria-pressed", String(each === button));
      saveAs(ways.file, withWay(lines).join("\n"), "application/toml");
      document.getElementById("way-state").textContent = `Saved as ${ways.file} with join = ${chosen}.`;
    });
  }
}
