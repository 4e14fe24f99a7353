// Sätze des Servers auf Deutsch, nach Kennwort und Form: "text" von einem Teil oder vom Bild, "together" von mehreren,
// sonst der Fall. In Klammern stehen die Angaben des englischen Satzes; was hier fehlt, wird englisch gezeigt.

export const sentences = {
  // Messschieber
  "check-fit-to-page": { text: "Alle Größen sind {value} mal so groß, wie der Messschieber sagt: So lässt sie ein Blatt, das auf {share} % gedruckt wurde, die Anpassung des Druckers an die Seite." },
  "check-density": { text: "Alle Größen sind {value} mal so groß, wie der Messschieber sagt: {first} und {second} dpi wurden verwechselt." },
  "check-tenfold": { text: "Alle Größen sind {value} mal so groß, wie der Messschieber sagt: Ein Komma ist verrutscht, oder cm wurden für mm genommen." },
  "check-inch": { text: "Alle Größen sind {value} mal so groß, wie der Messschieber sagt: Zoll und Millimeter wurden verwechselt." },
  "check-one-axis": { text: "Entlang der {way} des Bildes weichen Größen um {off} % ab, quer dazu stimmen sie: Der Vorschub des Scanners, oder eine Seite des Bezugs, ist nicht wie gesagt." },
  "check-height": {
    text: "Alle Größen weichen um {off} % ab, wie bei etwas, das näher an der Kamera liegt als die Karte; seine Höhe wurde mit {height} mm angenommen.",
    lower: "Alle Größen weichen um {off} % ab, wie bei etwas, das weiter von der Kamera liegt als gesagt; seine Höhe wurde mit {height} mm angenommen.",
  },
  "check-scale": {
    text: "Alle Größen weichen um {off} % ab: Der Bezug ist nicht so groß wie gesagt.",
    unmeasured: "Alle Größen weichen um {off} % ab: Der Bezug wurde nicht gemessen, und Drucker und Papier weichen oft so weit ab.",
  },
  "check-kerf": { text: "Umriss und Ablesungen liegen über das ganze Teil {value} mm auseinander, etwa eine Schnittfuge ({kerf} mm): Gemessen wurde ein geschnittenes Stück, oder die Fuge ist doppelt oder verkehrt herum eingerechnet." },
  "check-too-large": { text: "Der Umriss liegt ringsum {off} mm außerhalb des Gemessenen: Ein Schatten oder ein weicher Saum wurde für das Teil genommen, oder die Backen haben es zusammengedrückt." },
  "check-too-small": { text: "Der Umriss liegt ringsum {off} mm innerhalb des Gemessenen: Ein blasser Saum oder eine Fase wurde für den Grund genommen." },
  "check-one-reading": { text: "Nur eine Ablesung weicht ab, um {value} mm, alle anderen stimmen: die Ablesung, oder diese Stelle der Kante." },
  "check-unexplained": {
    text: "Keine einzelne Ursache erklärt diese Ablesungen; der größte Unterschied ist {value} mm.",
    alone: "Eine Ablesung allein verrät die Ursache nicht; der Unterschied ist {value} mm.",
  },

  // Bezug und Maßstab
  "axes-differ": { text: "Nach dem Bezug ist das Bild in einer Richtung {percent} % größer als in der anderen (bei Scannern bis {percent_limit} %): Der Bezug ist wohl nicht so quadratisch wie gesagt. Das genannte ± deckt das." },
  "square-not-as-said": { text: "Der Bezug soll {said} mm groß sein, sieht im Foto aber nach {seen} mm aus: Er wölbt sich, oder seine Seiten sind verschieden. Das genannte ± deckt das." },
  "scale-from-scanner": { text: "Im Bild war kein Bezug: Die Größen beruhen auf dem Profil des Scanners {name}, auf {value} % genau." },
  "beyond-scanner-map": {
    text: "Das Teil reicht {value} mm über die Stellen hinaus, an denen die Karte lag, als das Profil des Scanners {name} gemacht wurde: Wie er dort verzerrt, ist nicht bekannt.",
    together: "Bis zu {value} mm außerhalb der Stellen, an denen die Karte für das Profil des Scanners lag: {who}.",
  },
  "reference-touched": { text: "Nahe {x} / {y} px liegt etwas am Bezug, ein Teil oder ein Schatten, und verdeckt vielleicht seine Kante: Alle Größen können falsch sein." },
  "disc-edge": { text: "Dicht außerhalb der Scheibe bei {x} / {y} px ist das Bild weder Scheibe noch Grund: ihr Schatten, eine helle Fase oder ein Teil. Welche Kante der Messschieber misst, ist nicht sicher, und alle Größen können um einige Zehntel Prozent oder mehr falsch sein." },
  "reference-covered": { text: "Der Bezug ist nahe {x} / {y} px verdeckt oder beschädigt; gemessen wurde, was von seinen Seiten zu sehen ist." },
  "ring-left-out": {
    text: "Der Ring der Karte bei {x} / {y} px ist verdeckt oder abgeschnitten und wurde ausgelassen.",
    bent: "Der Ring der Karte bei {x} / {y} px liegt {value} px neben der Stelle, an die ihn die anderen legen, und wurde ausgelassen: Die Karte ist dort gewölbt oder hebt ab.",
  },
  "card-not-flat": {
    text: "Die Kanten des Bezugs liegen {off_mm} mm neben ihrem Ort: Das Papier wölbt sich, oder das Objektiv biegt Geraden. Ein Umriss kann um {value} mm falsch sein.",
    bent: "Eine Seite des Bezugs ist um {off_mm} mm gebogen: Das Papier wölbt sich, oder das Objektiv biegt Geraden. Ein Umriss kann um {value} mm falsch sein.",
  },
  "focal-unknown": { text: "Die Datei sagt nicht, mit welchem Objektiv sie aufgenommen wurde; durch die Karte allein ist der Abstand der Kamera auf {percent} % bekannt." },
  "item-height-missing": { text: "Es wurde keine Höhe gesagt, das Teil gilt also als flach: Jeder mm Höhe macht es um bis zu {value} mm zu groß, je 100 mm vom Punkt unter der Kamera." },
  "card-not-measured": { text: "Die gedruckte Karte wurde nicht gemessen: Papier und Drucker können alle Größen um {off} % verfälschen. Ihr Ring ist {outer} mm breit gezeichnet." },
  "option-not-used": {
    measured: "„Karte, wie gemessen“ {said} wurde nicht gebraucht: Es gilt für unsere Ringkarte, und im Bild ist keine. Das einfache Quadrat wurde mit den gesagten Seiten genommen.",
    square: "„Einfaches Quadrat“ {said} wurde nicht gebraucht: Im Bild liegt unsere Ringkarte, deren Code ihre Größe sagt.",
    measured_disc: "„Karte, wie gemessen“ {said} wurde nicht gebraucht: Es gilt für unsere Ringkarte, und im Bild ist keine. Die Scheibe wurde mit dem gesagten Durchmesser genommen.",
    disc: "„Runde Scheibe“ {said} wurde nicht gebraucht: Im Bild liegt unsere Ringkarte, deren Code ihre Größe sagt.",
    dpi: "„Kein Bezug: Dichte“ {said} wurde nur verglichen: Der Bezug im Bild ist sicherer.",
  },

  // Teile
  "item-failed": { together: "Ohne Umriss und ohne Datei, weil der Kante nicht zu folgen war: {who}." },
  "edge-smoothed": {
    text: "Die Kante war zu verworren, um ihr zu folgen: Was schmaler als {value} mm war, wurde zuerst geglättet, und blasse Stellen des Teils fehlen vielleicht.",
    together: "Die Kante war zu verworren, um ihr zu folgen, und wurde zuerst über {value} mm geglättet: {who}.",
  },
  "hole-left-out": {
    text: "Ein Loch oder Fleck von {wide} x {high} px bei {x} / {y} px hat keine eigene Kante, der zu folgen wäre; es wurde ausgelassen.",
    together: "Ein Loch oder Fleck, dessen Kante nicht zu folgen ist, wurde ausgelassen: {who}.",
  },
  "perhaps-hole": { together: "Runde Flecken, bis zu {value} mm groß, die für Druck genommen wurden, sind vielleicht Löcher: {who}." },
  "paper-at-edge": {
    text: "Das Teil liegt über der Kante eines Papiers, das aus dem Bild läuft: {value} mm² vom Licht des Papiers, mit eigener Kante, wurden für Papier genommen und nicht für einen Teil davon.",
    together: "Papier liegt unter der Kante, bis zu {value} mm² davon wurden nicht zum Teil genommen: {who}.",
  },
  "perhaps-print": {
    text: "Ein Loch von {value} mm zeigt etwas, das {darker} % dunkler ist als der Deckel: Es wurde für ein Loch genommen, ist aber vielleicht Druck auf dem Teil.",
    together: "Löcher, bis zu {value} mm groß, die etwas Dunkleres als den Deckel zeigen, sind vielleicht Druck: {who}.",
  },
  "hole-hidden": {
    text: "Seine eigene Wand verdeckt viel von einem Loch von etwa {value} mm: Was seine beiden Seiten verbindet, ist geraten.",
    together: "Löcher, bis zu {value} mm groß und halb von ihrer eigenen Wand verdeckt, sind zum Teil geraten: {who}.",
    round: "Seine eigene Wand verdeckt viel von einem Loch: Es wurde als rund genommen, {value} mm groß, wie seine beiden Seiten sind.",
  },
  "by-hand": {
    text: "{long} mm der Kante ({part} %) liegen, wo eine Hand sie gesetzt hat, bis zu {value} mm neben dem, was gemessen wurde: ±{sure} mm davon stehen in der genannten Zahl.",
    together: "Ein Teil der Kante liegt, wo eine Hand ihn gesetzt hat, bis zu {value} mm neben dem, was gemessen wurde: {who}.",
  },
  "by-hand-no-item": {
    item: "Bei {x} / {y} px weicht nichts vom Hintergrund ab, das nicht schon Teil, Loch oder Karte ist: Es gibt nichts als Teil zu nehmen.",
    already: "Was bei {x} / {y} px liegt, ist schon ein Teil: Der Schritt, es zu nehmen, bewirkt nichts.",
    draw: "Der von Hand gezeichnete Rand ab {x} / {y} px kreuzt sich oder umschließt fast nichts: Er wurde beiseitegelassen.",
  },
  "by-hand-soft": {
    text: "Was von Hand als Teil genommen wurde, hat keine klare Kante: Viel von seinem Rand ist nur auf ±{value} mm bekannt.",
    together: "Was von Hand als Teile genommen wurde, hat keine klare Kante, im schlechtesten Fall auf ±{value} mm bekannt: {who}.",
  },
  "by-hand-without-edge": {
    text: "Auf {percent} % einer von Hand an der Kante entlang gezogenen Linie fand sich keine Kante: Dort ist sie geraten.",
    together: "Auf bis zu {percent} % der von Hand an der Kante entlang gezogenen Linien fand sich keine: {who}.",
  },
  "face-and-cut": {
    text: "Bild und Schnitt sehen dieselbe Seite: Nichts wird vertauscht.",
    "back front": "Das Bild zeigt die Rückseite der Teile, die Platte wird mit der Vorderseite oben geschnitten: Links und rechts sind in jeder Datei vertauscht, damit die bedruckte Seite oben liegt.",
    "print back": "Die Platte wird mit der Rückseite oben geschnitten: Links und rechts sind in jeder Datei vertauscht, auch PRINT. Für das Druckbild noch einmal ohne „Beim Schneiden oben“ ausführen.",
    "back back": "Das Bild zeigt die Rückseite der Teile, und die Platte wird mit der Rückseite oben geschnitten: Beides zusammen lässt alles wie im Bild, PRINT ist von hinten gesehen. Für das Druckbild noch einmal ohne „Beim Schneiden oben“ ausführen.",
  },
  "set-upright": {
    together: "Aufrecht gedreht, in jeder Datei, um bis zu {value} Grad gegenüber dem, wie sie lagen: {who}.",
    round: "Zwischen den Backen des Messschiebers misst das Teil in jeder Richtung dasselbe: Es bleibt, wie es lag.",
  },
  "upright-rows": { text: "Aufrecht gedreht kämen sich Teile näher als {limit} mm: Sie liegen in Reihen, in Leserichtung, nicht wie im Bild." },
  "edges-close": {
    text: "Zwei Strecken der Kante liegen näher beisammen, als Linien und Bögen von {tolerance} mm sie auseinanderhalten: Sie wurden genauer gezeichnet, mit mehr davon.",
    together: "Strecken der Kante liegen sehr nahe beisammen und wurden genauer gezeichnet: {who}.",
  },
  "cut-by-border": {
    text: "Das Teil berührt den Rand des Bildes oder seines Blattes: Ein Stück des Umrisses fehlt.",
    together: "Ein Stück des Umrisses fehlt, vom Rand des Bildes oder des Blattes abgeschnitten: {who}.",
  },
  "too-many-items": { text: "{value} Flecken des Fotos könnten Teile sein; nur die {limit} größten wurden umrissen." },
  "touches-card": {
    text: "Das Teil berührt den Bezug oder liegt über seinem Blatt: Der Umriss ist dort nicht sein eigener.",
    together: "Der Umriss ist nicht der eigene, wo der Bezug oder sein Blatt berührt wird: {who}.",
  },
  "perhaps-two-items": {
    text: "Vielleicht zwei Teile, die sich berühren.",
    together: "Vielleicht zwei Teile, die sich berühren: {who}.",
    corners: "Vielleicht zwei Teile, die sich berühren: Zwei scharfe Innenecken liegen einander gegenüber, {value} mm auseinander.",
    bays: "Vielleicht zwei Teile, die sich berühren: Zwei Buchten liegen einander gegenüber, {value} mm auseinander.",
    colours: "Vielleicht zwei Teile, die sich berühren: Zwei Stücke verschiedener Farbe liegen nebeneinander (etwa {first} und {second} mm2).",
  },
  "things-in-hole": {
    text: "{value} Dinge liegen in Löchern des Teils und wurden für sich umrissen: Vielleicht sind sie Druck, und was für ein Loch genommen wurde, ist ein Etikett oder freies Feld, so hell wie der Grund.",
    together: "Dinge liegen in Löchern, oder Druck auf Etiketten, so hell wie der Grund, wurde für Löcher genommen: {who}.",
    one: "Ein Ding liegt in einem Loch des Teils und wurde für sich umrissen: Vielleicht ist es Druck, und was für ein Loch genommen wurde, ist ein Etikett oder freies Feld, so hell wie der Grund.",
  },
  "lid-goes-on": { text: "Was zuerst auffiel, war ein großes Stück des Bildes, das auf drei Seiten hinausläuft und die Farbe des Deckels hat: Es wurde für den Deckel in anderem Licht genommen, und was darauf liegt, wurde umrissen." },
  "edge-tangled": {
    text: "Die Kante kreuzte sich an einem Fleck oder sehr engen Spalt: Eine Schleife, kleiner als Staub, wurde abgenommen.",
    together: "Die Kante kommt sich auf einen Pixel nahe, oder kreuzte sich an einem Fleck: {who}.",
    near: "Zwei Strecken der Kante kommen sich auf einen Pixel nahe: {percent} % von ihr sind weniger sicher.",
  },
  "thin-strip": {
    text: "Ein Streifen, {wide} px breit und {long} px lang, läuft von der Kante bis {x} / {y} px: ein Haar, oder ein Schlitz oder eine Spitze des Teils. Er wurde für ein Haar genommen und ausgelassen.",
    together: "Ein dünner Streifen an der Kante, für ein Haar genommen und ausgelassen, ist vielleicht ein Schlitz oder eine Spitze des Teils: {who}.",
  },
  "left-out-crisp": { text: "Neben einem Teil wurde ein Stück von {value} mm2 bei {x} / {y} px für seinen Schatten genommen und ausgelassen; seine Kante ist klar, wie kein Schatten eine hat: Es ist vielleicht ein blasses Stück des Teils." },
  "edge-crumb": {
    text: "Ein Fleck, {long} mm lang und von anderer Farbe als das Teil, liegt an der Kante und verschiebt sie dort um {value} mm: ein Krümel, wenn er nicht zum Teil gehört.",
    together: "Flecken von anderer Farbe liegen an der Kante und verschieben sie, um bis zu {value} mm: {who}.",
  },
  "edge-unclear": {
    text: "{percent} % der Kante waren nicht zu sehen und wurden überbrückt: zu ähnlich dem Grund, Staub, oder verdeckt.",
    together: "Die Kante war nicht überall zu sehen und wurde überbrückt, auf bis zu {percent} % von ihr: {who}.",
  },
  "edge-washed-out": {
    text: "Auf {value} mm ist die Kante ausgewaschen, durch Glanz, eine Falte oder was dahinterliegt: Die Linie dort ist geraten und kann weiter danebenliegen, als die Zahl sagt.",
    together: "Auf bis zu {value} mm ist die Kante ausgewaschen und die Linie dort geraten: {who}.",
  },
  "edge-shape": {
    text: "Die Kante ist keine klare Stufe vom Teil zum Grund (eine Fase, ein durchscheinender Rand, ein naher Schatten): Sie kann um {value} mm falsch liegen.",
    together: "Kanten, die keine klare Stufe sind (Fasen, durchscheinend, Schatten), bis zu {value} mm falsch: {who}.",
  },
  "second-border": {
    text: "Das Teil hat zwei Ränder, {apart} mm auseinander, auf {part} % seiner Kante (ein Saum, eine Fase, ein Schatten, Druck): {taken}; das kann um {value} mm falsch sein.",
    together: "Zwei Ränder (ein Saum, eine Fase, ein Schatten, Druck), der genommene bis zu {value} mm falsch: {who}.",
    chosen: "Das Teil hat zwei Ränder, {apart} mm auseinander, auf {part} % seiner Kante: Der {edge} wurde genommen, wie gewünscht.",
  },
  "curve-unlikely": {
    text: "Die Datei sagt nicht, wie ihre Werte dem Licht folgen, und die Kante sieht aus, als wären sie das Licht selbst: Sie kann um {value} mm falsch liegen.",
    together: "Die Datei sagt nicht, wie ihre Werte dem Licht folgen, und Kanten sehen aus, als wären sie das Licht selbst, bis zu {value} mm falsch: {who}.",
  },
  "things-on-sheet": {
    text: "Ein Blatt, oder der Deckel in seinem Rahmen, füllt fast das ganze Bild, und {value} Dinge liegen darauf: Sie wurden umrissen, es selbst nicht.",
    one: "Ein Blatt, oder der Deckel in seinem Rahmen, füllt fast das ganze Bild, und ein Ding liegt darauf: Das wurde umrissen, das Blatt nicht.",
  },
  "perhaps-sheet": {
    text: "Was umrissen wurde, füllt fast das ganze Bild, und {value} Dinge mit klaren Kanten liegen darauf oder sind Löcher darin: Es kann ein Blatt sein, oder der Deckel in seinem Rahmen.",
    one: "Was umrissen wurde, füllt fast das ganze Bild, und ein Ding mit klarer Kante liegt darauf oder ist ein Loch darin: Es kann ein Blatt sein, oder der Deckel in seinem Rahmen.",
  },
  "edge-above-glass": {
    text: "Die Kante ist weicher als auf dem Glas, als läge sie etwa {high} mm über dem Glas ({low} bis {high} mm bei einem Kontaktsensor, mehr bei einem CCD) oder in einem weichen Schatten: Sie kann um {value} mm falsch liegen, am meisten quer zur Fahrt, den Sensor entlang.",
    together: "Kanten weicher als auf dem Glas, über dem Glas oder in weichem Schatten, bis zu {value} mm falsch, am meisten quer zur Fahrt: {who}.",
  },
  "items-close": {
    text: "Das Teil liegt nur {value} mm vom nächsten: Sie berühren sich vielleicht, und jedes beschattet die Kante des anderen.",
    together: "Zu nahe am Nachbarn, im schlimmsten Fall {value} mm ({limit} mm sind nötig): {who}.",
  },
  "item-pale": {
    text: "Das Teil ist kaum dunkler oder heller als sein Grund ({percent} % des vollen Lichts, gut: {percent_limit} %): Seine Seitenwände verschieben die Kante um einen Pixel und mehr.",
    together: "Kaum dunkler oder heller als der Grund, Seitenwände verschieben die Kante um einen Pixel und mehr: {who}.",
  },
  "shadow-suspected": {
    text: "Schatten um das Teil: Es kann um bis zu {value} mm zu groß herauskommen.",
    together: "Schatten ringsum, bis zu {value} mm zu groß: {who}.",
  },
  "shade-allowed-for": {
    text: "Um das Teil liegt ein schwacher Schatten: bis zu {value} mm, die das genannte ± enthält.",
    together: "Schwacher Schatten ringsum, bis zu {value} mm, die das genannte ± enthält: {who}.",
  },
  "edge-ragged": {
    text: "Die Kante ist sehr uneben: Sie ist in {value} kurzen geraden Linien geschrieben, keine davon ein Bogen.",
    together: "Sehr unebene Kante, in bis zu {value} kurzen geraden Linien geschrieben, keine davon ein Bogen: {who}.",
  },
  "no-ideal-shape": {
    text: "Auf {limit} mm genau ist der Umriss kein Kreis, Rechteck, Langloch oder regelmäßiges Vieleck.",
    together: "Auf {limit} mm genau kein Kreis, Rechteck, Langloch oder regelmäßiges Vieleck: {who}.",
  },
  "no-symmetry": {
    text: "Auf {limit} mm genau ist der Umriss nicht symmetrisch.",
    together: "Auf {limit} mm genau nicht symmetrisch: {who}.",
    unmade: "Auf {limit} mm genau lässt sich der Umriss nicht symmetrisch machen.",
  },
  "made-symmetric": { together: "Symmetrisch gemacht, die geschriebene Bahn liegt bis zu {value} mm neben der gemessenen Kante: {who}." },

  // Schneiden
  "no-path": { together: "Es bleibt nichts zu schneiden, es gibt keine Bahn: {who}." },
  "narrower-than-cutter": { together: "Ein Schlitz oder Hals ist enger als der Fräser, im schlimmsten Fall {value} mm ungeschnitten: {who}." },
  uncut: {
    text: "Der Fräser von {cutter} mm lässt {area} mm2 stehen, im schlimmsten Fall {value} mm tief: Das Teil braucht diesen Platz und geht nicht hinein.",
    together: "Der Fräser lässt Ecken stehen, im schlimmsten Fall {value} mm tief: {who}.",
    fits: "Der Fräser von {cutter} mm lässt {area} mm2 stehen, im schlimmsten Fall {value} mm tief: Das Teil geht trotzdem hinein, mit weniger Platz dort.",
    side: "Der Fräser von {cutter} mm lässt {area} mm2 stehen, im schlimmsten Fall {value} mm tief: Das Teil braucht diesen Platz und geht nicht hinein; mit „Freistellung der Ecken“ seitlich geht es.",
  },
  "room-short": {
    text: "An der engsten Stelle lässt die fertige Tasche dem Teil {value} mm Platz, gewünscht waren {limit} mm.",
    together: "Die fertige Tasche lässt weniger Platz als gewünscht, im schlimmsten Fall {value} mm: {who}.",
    outside: "Das Teil steht bis zu {beyond} mm über die Wand der fertigen Tasche hinaus, wo {limit} mm Platz gewünscht waren: Es geht nicht hinein.",
  },
  "pockets-cross": {
    text: "Die Tasche läuft in die von {names} hinein ({value} mm2 gemeinsam).",
    together: "Taschen laufen ineinander, um bis zu {value} mm2: {who}.",
  },
  "web-thin": {
    text: "Nur {value} mm Platte bleiben zwischen dieser Tasche und der von {name}, verlangt sind {limit} mm.",
    together: "Nur {value} mm Platte bleiben zwischen Taschen, verlangt sind {limit} mm: {who}.",
  },
  "pocket-in-parts": { together: "Die Bahn zerfällt in Stücke, schmaler als was dazwischen weggenommen wird: {who}." },
  "peg-too-small": {
    text: "{value} von {holes} Löchern sind für einen Zapfen bei diesem Spiel zu klein: ausgelassen.",
    together: "Löcher, für einen Zapfen zu klein, ausgelassen: {who}.",
    knife: "{value} von {holes} Zapfen sind zu klein, um mit Biegungen von {radius} mm geschnitten zu werden: ausgelassen.",
  },
  "opening-closed": {
    text: "{value} enge Öffnungen des Umrisses schließen sich bei diesem Spiel; was von ihnen bleibt, wird nicht geschnitten.",
    together: "Enge Öffnungen schließen sich bei diesem Spiel: {who}.",
    islands: "{value} enge Öffnungen des Umrisses schließen sich bei diesem Spiel; was bleibt, wird als Inseln geschnitten.",
  },
  "notch-near-corner": {
    text: "Eine Griffmulde von {width} mm liegt {value} mm von einer Ecke oder einem Loch des Teils, wo es gehalten wird.",
    together: "Eine Griffmulde liegt nur {value} mm von einer Ecke oder einem Loch: {who}.",
  },
  "pin-too-thin": {
    text: "{value} von {holes} Löchern bekämen einen Stift, dünner als {least} mm: ausgelassen.",
    together: "Löcher, die einen zu dünnen Stift bekämen, ausgelassen: {who}.",
  },
  "nodes-close": {
    text: "{count} Linien oder Bögen der Bahn sind kürzer als {limit} mm, der kürzeste {value} mm: Manche Maschinen werden dort langsam oder ruckeln.",
    together: "Linien oder Bögen kürzer als {limit} mm, an denen manche Maschinen ruckeln: {who}.",
  },
  "no-room-for-lead": {
    text: "{value} von {paths} Bahnen haben im Abfall keinen Platz für einen Einlauf: Der Strahl sticht auf ihnen ein.",
    together: "Im Abfall kein Platz für einen Einlauf, der Strahl sticht auf der Bahn ein: {who}.",
  },
  "no-hole-for-pin": {
    text: "Das Teil hat kein Loch, durch das ein Stift ginge.",
    together: "Kein Loch, durch das ein Stift ginge: {who}.",
  },
  "no-clearance": { text: "„Schnittfuge“ {kerf} mm ohne „Spiel je Seite“: Die Tasche wird so groß wie das Teil, das dann vielleicht nicht hineingeht." },

  // Bild
  "two-level": { text: "Das Bild ist nur schwarz und weiß: Jede Kante kann {value} mm danebenliegen." },
  "picture-coarse": { text: "Das Bild hat nur {dpi} dpi: Löcher und Kerben unter etwa {hole_mm} mm fehlen vielleicht, und Kanten sind weniger sicher." },
  "picture-soft": { text: "Das Foto ist unscharf: Kanten sind {value} px breit, gut sind {limit}." },
  transparency: { text: "{percent} % des Bildes sind durchsichtig; es wurde auf Weiß gelegt." },
  "curve-assumed": { text: "Das Bild hat erweiterten Kontrastumfang; es wird als sRGB gelesen, Kanten können also ein wenig danebenliegen." },
  "exif-ignored": { text: "Was die Kamera in die Datei schrieb (EXIF), ist beschädigt und wurde nicht gebraucht." },
};

// Angaben, die Wörter sind.
export const values = {
  width: "Breite",
  height: "Höhe",
  inner: "innere",
  outer: "äußere",
  "the inner one was taken": "der innere wurde genommen",
  "the outer one was taken": "der äußere wurde genommen",
  "a line between them was taken": "eine Linie dazwischen wurde genommen",
};

// Welche Teile, nach ihren Nummern, von so vielen.
export function who(items, of) {
  if (items.length === of) return of === 2 ? "beide Teile" : `alle ${of} Teile`;
  if (items.length === 1) return `Teil ${items[0]}`;
  const runs = [];
  for (const item of items) {
    const last = runs.at(-1);
    if (last && item === last.at(-1) + 1) last.push(item);
    else runs.push([item]);
  }
  const named = runs.flatMap((run) => (run.length > 2 ? [`${run[0]} bis ${run.at(-1)}`] : run.map(String)));
  if (named.length <= 2) return `Teile ${named.join(" und ")}`;
  return `${items.length} von ${of} Teilen (${named.slice(0, 4).join(", ")}${named.length > 4 ? " ..." : ""})`;
}
