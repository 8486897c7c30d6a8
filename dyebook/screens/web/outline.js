// Corners tapped on a photo, one after another; a tapped corner can be dragged. Corners are shares of the picture.
const kept = new WeakMap()
const GRAB_PX = 30

export default function (component) {
  const { data, parentElement, setTriggerValue } = component
  const view = parseView(parentElement)
  const state = kept.get(parentElement) ?? { corners: [], past: [], round: null }
  if (state.round !== data.round) Object.assign(state, { corners: data.corners ?? [], past: [], round: data.round })
  kept.set(parentElement, state)
  if (view.image.getAttribute("src") !== data.picture) view.image.src = data.picture
  const redraw = () => draw(view, state, data)
  wire(view, state, data, redraw, setTriggerValue)
  redraw()
}

function parseView(root) {
  const find = (name) => root.querySelector(`.${name}`)
  return {
    image: find("image"), lines: find("lines"), stage: find("stage"), words: find("words"), loupe: find("loupe"),
    undo: find("undo"), again: find("again"), done: find("done"),
  }
}

function wire(view, state, data, redraw, setTriggerValue) {
  const remember = () => state.past.push(state.corners.map((corner) => [...corner]))
  let held = -1
  view.stage.onpointerdown = (event) => {
    event.preventDefault()
    const at = place(view, event)
    held = nearest(view, state.corners, at)
    if (held < 0 && state.corners.length >= data.most) return
    remember()
    if (held < 0) held = state.corners.push(at) - 1
    view.stage.setPointerCapture(event.pointerId)
    magnify(view, at)
    redraw()
  }
  view.stage.onpointermove = (event) => {
    if (held < 0) return
    state.corners[held] = place(view, event)
    magnify(view, state.corners[held])
    redraw()
  }
  view.stage.onpointerup = view.stage.onpointercancel = () => {
    held = -1
    view.loupe.hidden = true
    redraw()
  }
  view.undo.onclick = () => { if (state.past.length) state.corners = state.past.pop(); redraw() }
  view.again.onclick = () => { remember(); state.corners = []; redraw() }
  view.done.onclick = () => setTriggerValue("corners", state.corners)
}

function place(view, event) {
  const box = view.image.getBoundingClientRect()
  const share = (value, low, size) => Math.min(1, Math.max(0, (value - low) / size))
  return [share(event.clientX, box.left, box.width), share(event.clientY, box.top, box.height)]
}

function nearest(view, corners, at) {
  const box = view.image.getBoundingClientRect()
  const away = corners.map(([x, y]) => Math.hypot((x - at[0]) * box.width, (y - at[1]) * box.height))
  const least = Math.min(...away)
  return least < GRAB_PX ? away.indexOf(least) : -1
}

// a finger hides what it points at: show that spot, enlarged, beside it
function magnify(view, [x, y]) {
  const box = view.image.getBoundingClientRect()
  const side = view.loupe.offsetWidth || 120
  view.loupe.hidden = false
  view.loupe.style.backgroundImage = `url(${view.image.src})`
  view.loupe.style.backgroundSize = `${box.width * 3}px ${box.height * 3}px`
  view.loupe.style.backgroundPosition = `${side / 2 - x * box.width * 3}px ${side / 2 - y * box.height * 3}px`
  view.loupe.style.left = x < 0.5 ? "auto" : "8px"
  view.loupe.style.right = x < 0.5 ? "8px" : "auto"
}

function draw(view, state, data) {
  const count = state.corners.length
  const text = state.corners.map(([x, y]) => `${x * 1000},${y * 1000}`).join(" ")
  const shape = count >= data.least ? "polygon" : "polyline"
  view.lines.innerHTML = `<${shape} class="under" points="${text}"/><${shape} points="${text}"/>`
  view.stage.querySelectorAll(".corner").forEach((dot) => dot.remove())
  state.corners.forEach(([x, y], index) => {
    const dot = document.createElement("span")
    dot.className = "corner"
    dot.textContent = index + 1
    dot.style.left = `${x * 100}%`
    dot.style.top = `${y * 100}%`
    view.stage.append(dot)
  })
  view.words.textContent = count < data.least ? data.ask[Math.min(count, data.ask.length - 1)] : data.enough
  view.undo.disabled = !state.past.length
  view.again.disabled = !count
  view.done.disabled = count < data.least
}
