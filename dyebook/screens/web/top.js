// After each turn the page stands at its top; what is typed or noted in between leaves it where it is.
let shown = null

export default function ({ data }) {
  if (data.turn === shown) return
  shown = data.turn
  document.querySelector("[data-testid=stMain]")?.scrollTo(0, 0)
}
