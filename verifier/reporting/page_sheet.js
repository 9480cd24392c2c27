/* A part nobody has measured yet: readings are typed into the table and saved as the finished sheet. */

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
    return lines.join("\n");
  }

  document.getElementById("save-sheet").addEventListener("click", () => {
    const wrong = inputs.find((input) => input.getAttribute("aria-invalid") === "true");
    told.textContent = stateInWords();
    if (wrong) {
      wrong.focus();
      return;
    }
    saveAs(typed.file, finishedSheet(), "application/toml");
  });
}
