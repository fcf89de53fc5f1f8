package paper

import "html/template"

// SVG draws a drawing for a page that has the classes of its shapes in its style
// sheet: ink and faint lines, open, white, pale, middle and black areas, letters
// and counter, their inverse.
func SVG(d Drawing) template.HTML { return svg(d) }
