// Corners tapped on a photo, one after another. A tap sets a corner, a drag moves the picture, two fingers or the wheel
// enlarge it; a corner is moved by its grip alone. Corners are shares of the picture.
const kept = new WeakMap()
// a finger that moved less than this has tapped; so far from its corner hangs a grip
const TAP_PX = 10
const STEM_PX = 46
const MOST_ZOOM = 8

export default function (component) {
  const { data, parentElement, setTriggerValue } = component
  const view = parseView(parentElement)
  const state = kept.get(parentElement) ?? { corners: [], past: [], round: null, zoom: 1, left: 0, top: 0 }
  if (state.round !== data.round) {
    Object.assign(state, { corners: data.corners ?? [], past: [], round: data.round, zoom: 1, left: 0, top: 0 })
  }
  kept.set(parentElement, state)
  const redraw = () => draw(view, state, data)
  view.image.onload = () => { fit(view); redraw() }
  if (view.image.getAttribute("src") !== data.picture) view.image.src = data.picture
  wire(view, state, data, redraw, setTriggerValue)
  if (view.image.naturalWidth) fit(view)
  redraw()
}

function parseView(root) {
  const names = ["image", "lines", "stage", "sheet", "words", "undo", "again", "done", "in", "out", "whole"]
  return Object.fromEntries(names.map((name) => [name, root.querySelector(`.${name}`)]))
}

// as wide as there is room, and no higher than most of the screen
function fit(view) {
  const ratio = view.image.naturalWidth / view.image.naturalHeight
  view.stage.style.aspectRatio = ratio
  view.stage.style.width = `min(100%, ${0.62 * window.innerHeight * ratio}px)`
}

function wire(view, state, data, redraw, setTriggerValue) {
  const fingers = new Map()
  let held = -1, start = null, still = false
  const remember = () => state.past.push(state.corners.map((corner) => [...corner]))
  const zoomTo = (zoom, x, y) => { zoomAbout(view, state, zoom, x, y); redraw() }
  const middle = () => [view.stage.clientWidth / 2, view.stage.clientHeight / 2]

  view.stage.onpointerdown = (event) => {
    const grip = event.composedPath().find((one) => one.classList?.contains("grip"))
    if (!grip) event.preventDefault()
    fingers.set(event.pointerId, [event.clientX, event.clientY])
    start = [event.clientX, event.clientY]
    still = fingers.size === 1 && !grip
    held = grip && fingers.size === 1 ? Number(grip.dataset.corner) : -1
    if (held >= 0) remember()
    view.stage.setPointerCapture(event.pointerId)
  }
  view.stage.onpointermove = (event) => {
    const before = fingers.get(event.pointerId)
    if (!before) return
    const now = [event.clientX, event.clientY]
    const wasStill = still
    if (Math.hypot(now[0] - start[0], now[1] - start[1]) > TAP_PX) still = false
    // once it is no tap, the picture catches up with the finger
    const from = wasStill && !still ? start : before
    const [dx, dy] = [now[0] - from[0], now[1] - from[1]]
    if (fingers.size === 2) {
      const [, other] = [...fingers].find(([id]) => id !== event.pointerId)
      const apart = (one) => Math.hypot(one[0] - other[0], one[1] - other[1])
      const box = view.stage.getBoundingClientRect()
      const [x, y] = [(now[0] + other[0]) / 2 - box.left, (now[1] + other[1]) / 2 - box.top]
      zoomAbout(view, state, (state.zoom * apart(now)) / Math.max(apart(before), 1), x, y)
      move(view, state, dx / 2, dy / 2)
    } else if (held >= 0) {
      shift(view, state, held, dx, dy)
    } else if (!still) {
      move(view, state, dx, dy)
    }
    fingers.set(event.pointerId, now)
    redraw()
  }
  view.stage.onpointerup = (event) => {
    if (fingers.size === 1 && still && held < 0 && state.corners.length < data.most) {
      remember()
      state.corners = [...state.corners, place(view, state, event)]
    }
    lift(event)
  }
  const lift = (event) => {
    fingers.delete(event.pointerId)
    still = false
    held = -1
    redraw()
  }
  view.stage.onpointercancel = lift
  view.stage.onwheel = (event) => {
    event.preventDefault()
    const box = view.stage.getBoundingClientRect()
    zoomTo(state.zoom * (event.deltaY < 0 ? 1.25 : 0.8), event.clientX - box.left, event.clientY - box.top)
  }
  view.stage.onkeydown = (event) => {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key]
    const grip = event.composedPath().find((one) => one.classList?.contains("grip"))
    if (!step || !grip) return
    event.preventDefault()
    remember()
    const [x, y] = state.corners[grip.dataset.corner]
    const moved = [x + step[0] / view.image.naturalWidth, y + step[1] / view.image.naturalHeight]
    state.corners[grip.dataset.corner] = moved.map(share)
    redraw()
  }
  view.in.onclick = () => zoomTo(state.zoom * 2, ...middle())
  view.out.onclick = () => zoomTo(state.zoom / 2, ...middle())
  view.whole.onclick = () => zoomTo(1, 0, 0)
  view.undo.onclick = () => { if (state.past.length) state.corners = state.past.pop(); redraw() }
  view.again.onclick = () => { remember(); state.corners = []; redraw() }
  view.done.onclick = () => setTriggerValue("corners", state.corners)
}

const share = (value) => Math.min(1, Math.max(0, value))

// enlarged about a place of the stage, which stays where it is
function zoomAbout(view, state, zoom, x, y) {
  const next = Math.min(MOST_ZOOM, Math.max(1, zoom))
  state.left = x - ((x - state.left) * next) / state.zoom
  state.top = y - ((y - state.top) * next) / state.zoom
  state.zoom = next
  move(view, state, 0, 0)
}

function move(view, state, dx, dy) {
  const within = (value, size) => Math.min(0, Math.max(size * (1 - state.zoom), value))
  state.left = within(state.left + dx, view.stage.clientWidth)
  state.top = within(state.top + dy, view.stage.clientHeight)
}

function shift(view, state, index, dx, dy) {
  const [x, y] = state.corners[index]
  const across = view.stage.clientWidth * state.zoom, down = view.stage.clientHeight * state.zoom
  state.corners[index] = [share(x + dx / across), share(y + dy / down)]
}

function place(view, state, event) {
  const box = view.stage.getBoundingClientRect()
  const at = (value, low, shifted, size) => share((value - low - shifted) / (size * state.zoom))
  return [at(event.clientX, box.left, state.left, box.width), at(event.clientY, box.top, state.top, box.height)]
}

function draw(view, state, data) {
  const count = state.corners.length
  view.sheet.style.transform = `translate(${state.left}px, ${state.top}px) scale(${state.zoom})`
  const text = state.corners.map(([x, y]) => `${x * 1000},${y * 1000}`).join(" ")
  const shape = count >= data.least ? "polygon" : "polyline"
  view.lines.innerHTML = `<${shape} class="under" points="${text}"/><${shape} points="${text}"/>`
  drawCorners(view, state)
  view.words.textContent = count < data.least ? data.ask[Math.min(count, data.ask.length - 1)] : data.enough
  view.undo.disabled = !state.past.length
  view.again.disabled = !count
  view.done.disabled = count < data.least
  view.out.disabled = view.whole.disabled = state.zoom <= 1
  view.in.disabled = state.zoom >= MOST_ZOOM
}

function drawCorners(view, state) {
  const wide = view.stage.clientWidth, high = view.stage.clientHeight
  const at = state.corners.map(([x, y]) => [x * wide * state.zoom + state.left, y * high * state.zoom + state.top])
  const mean = (axis) => at.reduce((sum, one) => sum + one[axis], 0) / (at.length || 1)
  const [cx, cy] = [mean(0), mean(1)]
  const focus = view.stage.getRootNode().activeElement?.dataset?.corner
  view.stage.querySelectorAll(".corner").forEach((one) => one.remove())
  at.forEach(([x, y], index) => {
    // away from the middle, and turned inwards where the picture ends
    let angle = at.length > 1 ? Math.atan2(y - cy, x - cx) : Math.PI / 4
    const off = () => [x + STEM_PX * Math.cos(angle), y + STEM_PX * Math.sin(angle)]
    const fits = ([gx, gy]) => gx > 22 && gx < wide - 22 && gy > 22 && gy < high - 22
    for (let turn = 1; turn < 8 && !fits(off()); turn += 1) angle += (turn % 2 ? turn : -turn) * (Math.PI / 4)
    const corner = document.createElement("div")
    corner.className = "corner"
    corner.style.left = `${x}px`
    corner.style.top = `${y}px`
    corner.innerHTML = `<i class="stem" style="width:${STEM_PX - 22}px;transform:rotate(${angle}rad)"></i>`
    const grip = document.createElement("button")
    grip.type = "button"
    grip.className = "grip"
    grip.dataset.corner = index
    grip.textContent = index + 1
    grip.setAttribute("aria-label", `Corner ${index + 1}: drag it, or move it with the arrow keys`)
    grip.style.left = `${STEM_PX * Math.cos(angle)}px`
    grip.style.top = `${STEM_PX * Math.sin(angle)}px`
    corner.append(grip)
    view.stage.append(corner)
    if (focus === String(index)) grip.focus()
  })
}
