package onepage

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"strings"

	"flourcast/report/chart"
	"flourcast/report/document"
)

var (
	//go:embed page.html
	pageSource string
	//go:embed page.css
	pageStyle string

	page = template.Must(template.New("page").Parse(pageSource))
)

// HTML is the documents as one self-contained file, a page each. Errors: a block or
// figure that cannot be shown, *TooLongError.
func HTML(docs []document.Document, o Options) ([]byte, error) {
	if err := check(docs); err != nil {
		return nil, err
	}
	sizes := make([]float64, len(docs))
	for i, d := range docs {
		var err error
		if sizes[i], err = Size(d, o.Paper); err != nil {
			return nil, err
		}
	}
	return render(docs, sizes, o)
}

// render fills the template; sizes are the points of each document's type.
func render(docs []document.Document, sizes []float64, o Options) ([]byte, error) {
	v := fileView{Language: o.Language, Title: docs[0].Title, Style: template.CSS(pageStyle),
		Paper: template.CSS(fmt.Sprintf("@page{size:%gmm %gmm;margin:%dmm} article{max-width:%gmm}", o.Paper.Width, o.Paper.Height, margin, o.Paper.Width-2*margin))}
	for i, d := range docs {
		p := pageView{Document: d, Size: template.CSS(fmt.Sprintf("font-size:%gpt", sizes[i]))}
		for _, s := range d.Sections {
			section := sectionView{Heading: s.Heading}
			for _, block := range s.Blocks {
				b, err := viewOf(block)
				if err != nil {
					return nil, err
				}
				section.Blocks = append(section.Blocks, b)
			}
			p.Parts = append(p.Parts, section)
		}
		v.Pages = append(v.Pages, p)
	}
	var b bytes.Buffer
	if err := page.Execute(&b, v); err != nil {
		return nil, fmt.Errorf("onepage: filling the page: %w", err)
	}
	return b.Bytes(), nil
}

// The views are what the template sees.
type fileView struct {
	Language, Title string
	Style, Paper    template.CSS
	Pages           []pageView
}

type pageView struct {
	document.Document
	Size  template.CSS
	Parts []sectionView
}

type sectionView struct {
	Heading string
	Blocks  []blockView
}

// blockView has exactly one part.
type blockView struct {
	Paragraph document.Paragraph
	Callout   *document.Callout
	Table     *document.Table
	Caption   string
	SVG       template.HTML
}

func viewOf(block document.Block) (blockView, error) {
	switch k := block.(type) {
	case document.Paragraph:
		return blockView{Paragraph: k}, nil
	case document.Callout:
		return blockView{Callout: &k}, nil
	case *document.Table:
		return blockView{Table: k}, nil
	case document.Picture:
		svg, err := chart.SVG(k.Figure)
		if err != nil {
			return blockView{}, err
		}
		inline := strings.Replace(string(svg), ` xmlns="http://www.w3.org/2000/svg"`, "", 1)
		return blockView{Caption: k.Caption, SVG: template.HTML(inline)}, nil
	}
	return blockView{}, fmt.Errorf("onepage: no face for a block of type %T", block)
}
