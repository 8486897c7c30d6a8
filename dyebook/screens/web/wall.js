// A wall of swatches: each a button that names its batch. Words come from the server; nothing is worked out here.
export default function (component) {
  const { data, parentElement, setTriggerValue } = component
  const wall = parentElement.querySelector(".wall")
  wall.classList.toggle("ribbon", Boolean(data.ribbon))
  wall.replaceChildren(...data.swatches.map((swatch) => tile(swatch, setTriggerValue)))
}

function tile(swatch, setTriggerValue) {
  const button = document.createElement("button")
  button.type = "button"
  button.dataset.batch = swatch.batch
  button.setAttribute("aria-label", [swatch.title, swatch.word, ...swatch.lines].join(", "))
  const colour = document.createElement("span")
  colour.className = swatch.colour ? "colour" : "colour unread"
  if (swatch.colour) colour.style.background = swatch.colour
  if (!swatch.colour) colour.append(line("none", "not read yet"))
  button.append(colour, line("title", swatch.title), line("word", swatch.word))
  for (const text of swatch.lines) button.append(line("small", text))
  if (swatch.doubt) button.append(line("doubt", swatch.doubt))
  button.onclick = () => setTriggerValue("batch", swatch.batch)
  return button
}

function line(name, text) {
  const span = document.createElement("span")
  span.className = name
  span.textContent = text
  return span
}
