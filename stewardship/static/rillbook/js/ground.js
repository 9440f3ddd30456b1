/* Pointing at a place: a tap on the drawing sets the two numbers of its form, and the numbers move the mark. */

for (const figure of document.querySelectorAll("[data-ground]")) {
  const svg = figure.querySelector("svg");
  const mark = svg.querySelector(".ground-here");
  const form = figure.closest("form");
  const [lat, lon] = [form.elements.lat, form.elements.lon];
  const { north, south, west, east } = Object.fromEntries(
    ["north", "south", "west", "east"].map((side) => [side, Number(figure.dataset[side])]),
  );
  const sheet = svg.viewBox.baseVal;
  const [width, height] = [sheet.width, sheet.height];

  const typed = (field) => (field.value.trim() === "" ? NaN : Number(field.value));
  const show = () => {
    const [y, x] = [typed(lat), typed(lon)];
    const known = Number.isFinite(x) && Number.isFinite(y);
    const at = known ? [((x - west) / (east - west)) * width, ((north - y) / (north - south)) * height] : [-100, -100];
    mark.setAttribute("transform", `translate(${at[0].toFixed(1)} ${at[1].toFixed(1)}) scale(${(sheet.width / width).toFixed(3)})`);
    return known ? at : null;
  };

  svg.addEventListener("click", (event) => {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    lat.value = (north - (at.y / height) * (north - south)).toFixed(5);
    lon.value = (west + (at.x / width) * (east - west)).toFixed(5);
    for (const field of [lat, lon]) field.dispatchEvent(new Event("input", { bubbles: true }));
  });
  for (const field of [lat, lon]) field.addEventListener("input", show);

  const row = Object.assign(document.createElement("p"), { className: "buttons" });
  for (const [words, share] of [[figure.dataset.closer, 0.5], [figure.dataset.whole, 1]]) {
    const button = Object.assign(document.createElement("button"), { type: "button", textContent: words });
    button.addEventListener("click", () => {
      const around = show() ?? [width / 2, height / 2];
      const wide = share === 1 ? width : Math.max(sheet.width * share, width / 16);
      const tall = (wide / width) * height;
      sheet.x = share === 1 ? 0 : around[0] - wide / 2;
      sheet.y = share === 1 ? 0 : around[1] - tall / 2;
      [sheet.width, sheet.height] = [wide, tall];
      show();
    });
    row.append(button);
  }
  figure.append(row);
  figure.querySelector("[data-ground-how]").hidden = false;
  show();
}
