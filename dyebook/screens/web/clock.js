// A clock that runs by the device's own time: a page that slept shows the right time when it wakes. Figures of the run
// come from the server; only minutes and seconds are worked out here.
const kept = new WeakMap()

export default function (component) {
  const { data, parentElement } = component
  const root = parentElement.querySelector(".clock")
  const state = kept.get(parentElement) ?? { quiet: false, audio: null, mark: "", lock: null }
  kept.set(parentElement, state)
  const start = Date.now() - data.elapsed
  if (state.mark !== data.alarm) Object.assign(state, { mark: data.alarm, quiet: false })
  clearInterval(state.timer)
  root.classList.toggle("small", Boolean(data.small))

  const time = root.querySelector(".time")
  const ring = root.querySelector(".ring")
  const sound = root.querySelector(".sound")
  root.querySelector(".words").textContent = data.words
  root.querySelector(".track").hidden = data.total === null
  ring.querySelector("strong").textContent = data.alarm
  ring.querySelector(".quiet").onclick = () => { state.quiet = true; tick() }
  sound.onclick = () => { wakeAudio(state); tick() }

  let rang = -1
  function tick() {
    const elapsed = data.running ? Date.now() - start : data.elapsed
    const left = data.total === null ? null : data.total - elapsed
    const over = left !== null && left <= 0
    // a lower current, noted after it rang, puts the end off: it may ring again
    if (left !== null && left > 1000) state.quiet = false
    time.textContent = (over ? "+" : "") + clock(left === null ? elapsed : Math.abs(left))
    if (left !== null) root.querySelector(".done").style.width = `${Math.min(100, (100 * elapsed) / data.total)}%`
    root.classList.toggle("over", over)
    ring.hidden = !(over && data.running) || state.quiet || Boolean(data.silent)
    sound.hidden = data.small || !data.running || data.total === null || state.audio?.state === "running"
    const beat = Math.floor(elapsed / 2000)
    if (!ring.hidden && beat !== rang) { rang = beat; beep(state) }
  }
  tick()
  state.timer = setInterval(tick, 250)
  const mayRing = data.running && data.total !== null && !data.small
  const stayAwake = () => keepAwake(state, mayRing).then((stays) => {
    const words = root.querySelector(".awake")
    words.hidden = !mayRing
    words.textContent = data.small ? "" : stays ? STAYS_ON : MAY_SLEEP
  })
  stayAwake()
  const awake = () => { if (!document.hidden) { tick(); stayAwake() } }
  const tapped = () => wakeAudio(state)
  document.addEventListener("visibilitychange", awake)
  // at the end of a tap: a page that moves under a finger that is still down loses it
  document.addEventListener("click", tapped)
  return () => {
    state.lock?.release()
    state.lock = null
    clearInterval(state.timer)
    document.removeEventListener("visibilitychange", awake)
    document.removeEventListener("click", tapped)
  }
}

const STAYS_ON = "The screen stays on while this clock runs; leave this page in front."
const MAY_SLEEP =
  "A sleeping phone cannot ring: leave this page in front and the screen on, or set the phone's own timer as well."

// browsers keep a screen on only for pages from this machine or by HTTPS; the shop's own network has neither
async function keepAwake(state, wanted) {
  if (!wanted) state.lock?.release()
  if (!wanted || state.lock?.released) state.lock = null
  if (!wanted) return false
  try {
    state.lock ??= await navigator.wakeLock?.request("screen")
  } catch {
    state.lock = null
  }
  return Boolean(state.lock)
}

function clock(milliseconds) {
  const seconds = Math.floor(milliseconds / 1000)
  const two = (number) => String(number).padStart(2, "0")
  const hours = Math.floor(seconds / 3600)
  const rest = `${two(Math.floor(seconds / 60) % 60)}:${two(seconds % 60)}`
  return hours ? `${hours}:${rest}` : rest
}

// browsers let a page sound only once it has been touched
function wakeAudio(state) {
  state.audio ??= new AudioContext()
  state.audio.resume()
}

function beep(state) {
  navigator.vibrate?.([300, 120, 300])
  if (state.audio?.state !== "running") return
  for (const delay of [0, 0.35]) {
    const tone = state.audio.createOscillator()
    const volume = state.audio.createGain()
    const at = state.audio.currentTime + delay
    tone.frequency.value = 784
    volume.gain.setValueAtTime(0.3, at)
    volume.gain.exponentialRampToValueAtTime(0.001, at + 0.3)
    tone.connect(volume).connect(state.audio.destination)
    tone.start(at)
    tone.stop(at + 0.3)
  }
}
