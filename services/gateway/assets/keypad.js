// The large keypad of a reading or a weighing: keys put their sign into the field that was touched last.
// Without this script the page works as it is, with the keys of the tablet.
'use strict'
const pad = document.querySelector('[data-keypad]')
const fields = Array.from(document.querySelectorAll('input.large'))
if (pad && fields.length > 0) {
  let field = fields[fields.length - 1]
  for (const one of fields) {
    one.addEventListener('focus', () => { field = one })
    one.inputMode = 'none'
  }
  pad.hidden = false
  pad.addEventListener('click', event => {
    const key = event.target.closest('button')?.dataset.key
    if (!key) return
    field.value = key === 'back' ? field.value.slice(0, -1) : field.value + key
    field.focus()
  })
}
