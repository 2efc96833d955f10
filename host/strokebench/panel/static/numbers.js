// The two cursors, and the table of what lies between them.

const HEADS = ["", "At A", "At B", "B \u2212 A", "Lowest", "Highest", "Mean"];

function shown(value) {
  return value === null ? "\u2013" : String(Number(value.toPrecision(5)));
}

function row(cells, kind) {
  const line = document.createElement("tr");
  cells.forEach((text, i) => {
    const cell = document.createElement(kind === "th" || i === 0 ? "th" : "td");
    if (kind === "th") cell.scope = "col";
    else if (i === 0) cell.scope = "row";
    else cell.className = "number";
    if (kind === "td" && i > 0) cell.dataset.head = HEADS[i];
    cell.textContent = text;
    line.append(cell);
  });
  return line;
}

export function fill(place, reply) {
  place.replaceChildren();
  if (!reply || !reply.rows.length) return;
  const about = document.createElement("p");
  const length = reply.end - reply.start;
  about.textContent = `From ${shown(reply.start)} s to ${shown(reply.end)} s: ${shown(length)} s, from ${reply.buckets} steps.`;
  const table = document.createElement("table");
  const head = document.createElement("thead");
  const body = document.createElement("tbody");
  head.append(row(HEADS, "th"));
  for (const [name, ...values] of reply.rows) body.append(row([name, ...values.map(shown)], "td"));
  table.append(head, body);
  place.append(about, table);
}
