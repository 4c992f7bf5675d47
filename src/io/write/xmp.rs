//! The XMP packet (ISO 16684-1): what the picture shows, and what its colours mean.
//!
//! The Astronomy Visualization Metadata (AVM 1.1) stand beside Dublin Core,
//! Photoshop and IPTC properties. One entry of each AVM sequence describes one
//! channel; entry i of every sequence belongs to channel i, and `-` keeps the
//! place of what is not known. What is empty altogether is left out. The packet
//! depends on the description alone, never on the clock.

mod description;

pub use description::{Channel, Description, Spatial};

use std::borrow::Cow;

use xmp_writer::{CustomNamespace, Element, Namespace, XmpWriter};

/// The AVM version whose properties are used.
const METADATA_VERSION: &str = "1.1";

/// The IPTC's word for a picture combined of several captures.
const COMPOSITE: &str = "http://cv.iptc.org/newscodes/digitalsourcetype/compositeCapture";

/// Keeps the place of what is not known.
const UNKNOWN: &str = "-";

/// Opening and closing of the property that [`without_fits_header`] drops.
const FITS_HEADER: [&str; 2] = ["<avm:Spatial.FITSheader>", "</avm:Spatial.FITSheader>"];

/// The namespaces that XMP itself does not name.
#[derive(Clone, Copy)]
enum Place {
    Avm,
    Photoshop,
    IptcCore,
    IptcExtension,
}

impl Place {
    fn namespace(self) -> Namespace<'static> {
        let (prefix, uri) = match self {
            Self::Avm => ("avm", "http://www.communicatingastronomy.org/avm/1.0/"),
            Self::Photoshop => ("photoshop", "http://ns.adobe.com/photoshop/1.0/"),
            Self::IptcCore => (
                "Iptc4xmpCore",
                "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/",
            ),
            Self::IptcExtension => ("Iptc4xmpExt", "http://iptc.org/std/Iptc4xmpExt/2008-02-29/"),
        };
        Namespace::Custom(Box::new(CustomNamespace::new(prefix, prefix, uri)))
    }
}

/// The whole packet, read-only and without padding.
pub fn packet(description: &Description) -> String {
    let mut packet = Packet(XmpWriter::new());
    packet.words(description);
    packet.subject(description);
    packet.channels(&description.channels);
    packet.alternative(Place::Avm, "Spectral.Notes", &description.spectral_notes);
    if let Some(spatial) = &description.spatial {
        packet.spatial(spatial);
    }
    packet.0.finish(Some(""))
}

/// A packet of [`packet`] without the property that may be long, the FITS
/// header, for files with little room; unchanged where there is none.
pub fn without_fits_header(packet: &str) -> Cow<'_, str> {
    // Text is escaped, so neither tag can stand inside a value.
    let [open, close] = FITS_HEADER;
    match (packet.find(open), packet.find(close)) {
        (Some(start), Some(end)) if start < end => {
            Cow::Owned([&packet[..start], &packet[end + close.len()..]].concat())
        }
        _ => Cow::Borrowed(packet),
    }
}

struct Packet(XmpWriter<'static>);

impl Packet {
    /// Dublin Core, Photoshop, IPTC: who and what.
    fn words(&mut self, it: &Description) {
        let text = |text: &str| Some(clean(text)).filter(|text| !text.is_empty());
        if let Some(title) = text(&it.title) {
            self.0.title([(None, &title[..])]);
        }
        if let Some(description) = text(&it.description) {
            self.0.description([(None, &description[..])]);
        }
        let creators = cleaned(&it.creators);
        if !creators.is_empty() {
            self.0.creator(creators.iter().map(String::as_str));
        }
        let keywords = cleaned(&it.keywords);
        if !keywords.is_empty() {
            self.0.subject(keywords.iter().map(String::as_str));
        }
        if let Some(rights) = text(&it.rights) {
            self.0.rights([(None, &rights[..])]);
            self.0.usage_terms([(None, &rights[..])]);
        }
        if let Some(software) = text(&it.software) {
            self.0.creator_tool(&software);
        }
        self.value(Place::Photoshop, "Headline", &it.headline);
        self.value(Place::Photoshop, "Credit", &it.credit);
        self.value(Place::Photoshop, "Source", &it.organisation);
        self.value(Place::Photoshop, "DateCreated", &it.date);
        if let Some(url) = text(&it.creator_url) {
            let core = Place::IptcCore;
            let mut contact = self.element(core, "CreatorContactInfo").obj();
            contact
                .element("CiUrlWork", core.namespace())
                .value(&url[..]);
        }
        self.alternative(Place::IptcCore, "AltTextAccessibility", &it.alt_text);
        self.value(Place::IptcExtension, "DigitalSourceType", COMPOSITE);
    }

    /// AVM's content and publisher.
    fn subject(&mut self, it: &Description) {
        self.value(Place::Avm, "MetadataVersion", METADATA_VERSION);
        self.value(Place::Avm, "MetadataDate", &it.metadata_date);
        self.value(Place::Avm, "Type", "Observation");
        self.value(Place::Avm, "ID", &it.id);
        self.value(Place::Avm, "Publisher", &it.publisher);
        self.value(Place::Avm, "PublisherID", &it.publisher_id);
        self.value(Place::Avm, "ResourceID", &it.resource_id);
        self.value(Place::Avm, "ResourceURL", &it.resource_url);
        self.value(Place::Avm, "ReferenceURL", &it.reference_url);
        self.value(Place::Avm, "Image.ProductQuality", &it.product_quality);
        let categories = cleaned(&it.subject_categories);
        if !categories.is_empty() {
            self.element(Place::Avm, "Subject.Category")
                .unordered_array(categories.iter().map(String::as_str));
        }
        self.sequence("Distance", [number(it.distance_ly)]);
        self.value(Place::Avm, "Distance.Notes", &it.distance_notes);
    }

    /// The sequences in step.
    fn channels(&mut self, channels: &[Channel]) {
        let mut text = |name, field: fn(&Channel) -> &String| {
            self.sequence(name, channels.iter().map(|channel| clean(field(channel))));
        };
        text("Facility", |channel| &channel.facility);
        text("Instrument", |channel| &channel.instrument);
        text("Spectral.ColorAssignment", |channel| &channel.color_name);
        text("Spectral.Band", |channel| &channel.band);
        text("Spectral.Bandpass", |channel| &channel.bandpass);
        text("Temporal.StartTime", |channel| &channel.start_time);
        text("DatasetID", |channel| &channel.dataset_id);
        let mut numbers = |name, field: fn(&Channel) -> Option<f64>| {
            self.sequence(name, channels.iter().map(|channel| number(field(channel))));
        };
        numbers("Spectral.CentralWavelength", |channel| {
            channel.central_wavelength_nm
        });
        numbers("Temporal.IntegrationTime", |channel| channel.integration_s);
    }

    fn spatial(&mut self, it: &Spatial) {
        let pair = |values: [f64; 2]| values.map(|value| number(Some(value)));
        self.value(Place::Avm, "Spatial.CoordinateFrame", &it.frame);
        self.value(Place::Avm, "Spatial.Equinox", &it.equinox);
        self.sequence("Spatial.ReferenceValue", pair(it.reference_value));
        self.sequence("Spatial.ReferenceDimension", pair(it.reference_dimension));
        self.sequence("Spatial.ReferencePixel", pair(it.reference_pixel));
        self.sequence("Spatial.Scale", pair(it.scale));
        self.value(Place::Avm, "Spatial.Rotation", &number(Some(it.rotation)));
        self.value(Place::Avm, "Spatial.CoordsystemProjection", &it.projection);
        self.value(Place::Avm, "Spatial.Quality", &it.quality);
        self.alternative(Place::Avm, "Spatial.Notes", &it.notes);
        self.value(Place::Avm, "Spatial.FITSheader", &it.fits_header);
    }

    fn element<'a>(&'a mut self, place: Place, name: &'a str) -> Element<'a, 'static> {
        self.0.element(name, place.namespace())
    }

    fn value(&mut self, place: Place, name: &str, text: &str) {
        let text = clean(text);
        if !text.is_empty() {
            self.element(place, name).value(&text[..]);
        }
    }

    fn alternative(&mut self, place: Place, name: &str, text: &str) {
        let text = clean(text);
        if !text.is_empty() {
            self.element(place, name)
                .language_alternative([(None, &text[..])]);
        }
    }

    /// An AVM sequence; nothing where no entry is known.
    fn sequence(&mut self, name: &str, entries: impl IntoIterator<Item = String>) {
        let entries: Vec<_> = entries.into_iter().collect();
        if entries.iter().all(String::is_empty) {
            return;
        }
        let entries = entries
            .iter()
            .map(|entry| if entry.is_empty() { UNKNOWN } else { entry });
        self.element(Place::Avm, name).ordered_array(entries);
    }
}

/// The shortest decimal that reads back the same; empty for what is no number.
fn number(value: Option<f64>) -> String {
    value
        .filter(|value| value.is_finite())
        .map(|value| value.to_string())
        .unwrap_or_default()
}

/// Without the characters that XML 1.0 does not allow or that readers choke on.
fn clean(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_control() || matches!(c, '\t' | '\n'))
        .filter(|c| !matches!(c, '\u{fffe}' | '\u{ffff}'))
        .collect::<String>()
        .trim()
        .to_owned()
}

/// All that are not empty.
fn cleaned(texts: &[String]) -> Vec<String> {
    texts
        .iter()
        .map(|text| clean(text))
        .filter(|text| !text.is_empty())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use roxmltree::{Document, Node};

    const RDF: &str = "http://www.w3.org/1999/02/22-rdf-syntax-ns#";
    const DC: &str = "http://purl.org/dc/elements/1.1/";
    const AVM: &str = "http://www.communicatingastronomy.org/avm/1.0/";
    const PHOTOSHOP: &str = "http://ns.adobe.com/photoshop/1.0/";
    const RIGHTS: &str = "http://ns.adobe.com/xap/1.0/rights/";
    const CORE: &str = "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/";
    const EXTENSION: &str = "http://iptc.org/std/Iptc4xmpExt/2008-02-29/";

    fn lantern() -> Description {
        Description {
            title: "Lantern Shell <in> three & \"more\" lines".to_owned(),
            description: "Red is [S II]\u{0},\ngreen Hα.\u{1b}".to_owned(),
            creators: vec!["Ada Lampwright".to_owned(), "B. Wick".to_owned()],
            rights: "CC BY 4.0".to_owned(),
            alt_text: "A shell of gas".to_owned(),
            keywords: vec!["Lantern Shell".to_owned(), String::new()],
            creator_url: "https://lantern.example".to_owned(),
            software: "Linehue 0.1.0".to_owned(),
            channels: vec![
                Channel {
                    color_name: "Red".to_owned(),
                    band: "Optical".to_owned(),
                    bandpass: "[S II] 6 nm".to_owned(),
                    central_wavelength_nm: Some(672.4),
                    integration_s: Some(18_000.0),
                    ..Channel::default()
                },
                Channel {
                    instrument: "Wick camera".to_owned(),
                    color_name: "Green".to_owned(),
                    band: "Optical".to_owned(),
                    integration_s: Some(f64::NAN),
                    ..Channel::default()
                },
            ],
            spectral_notes: "Each line added as light.".to_owned(),
            spatial: Some(Spatial {
                frame: "ICRS".to_owned(),
                reference_value: [83.633, -5.25],
                scale: [-0.000_277_777_8, 0.000_277_777_8],
                rotation: -12.5,
                fits_header: "CTYPE1  = 'RA---TAN'\nCRVAL1  = 83.633 / a < b".to_owned(),
                ..Spatial::default()
            }),
            ..Description::default()
        }
    }

    fn find<'a>(document: &'a Document<'a>, space: &str, name: &str) -> Option<Node<'a, 'a>> {
        document
            .descendants()
            .find(|node| node.has_tag_name((space, name)))
    }

    /// The kind of array (empty for a plain value) and its texts.
    fn values(packet: &str, space: &str, name: &str) -> Option<(String, Vec<String>)> {
        let document = Document::parse(packet).expect("well-formed");
        let node = find(&document, space, name)?;
        let text = |node: Node<'_, '_>| node.text().unwrap_or_default().to_owned();
        Some(match node.children().find(Node::is_element) {
            Some(array) => {
                assert_eq!(array.tag_name().namespace(), Some(RDF));
                let items = array
                    .children()
                    .filter(Node::is_element)
                    .map(text)
                    .collect();
                (array.tag_name().name().to_owned(), items)
            }
            None => (String::new(), vec![text(node)]),
        })
    }

    fn expect(packet: &str, space: &str, name: &str, kind: &str, texts: &[&str]) {
        let (found, items) = values(packet, space, name).expect(name);
        assert_eq!(
            (&found[..], items),
            (kind, texts.iter().map(|t| t.to_string()).collect())
        );
    }

    #[test]
    fn properties_read_back_by_namespace() {
        let packet = packet(&lantern());
        assert!(
            packet.starts_with("<?xpacket begin=\"\u{feff}\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>")
        );
        assert!(packet.ends_with("<?xpacket end=\"r\"?>"));
        expect(
            &packet,
            DC,
            "title",
            "Alt",
            &["Lantern Shell <in> three & \"more\" lines"],
        );
        expect(
            &packet,
            DC,
            "description",
            "Alt",
            &["Red is [S II],\ngreen Hα."],
        );
        expect(
            &packet,
            DC,
            "creator",
            "Seq",
            &["Ada Lampwright", "B. Wick"],
        );
        expect(&packet, DC, "subject", "Bag", &["Lantern Shell"]);
        expect(&packet, DC, "rights", "Alt", &["CC BY 4.0"]);
        expect(&packet, RIGHTS, "UsageTerms", "Alt", &["CC BY 4.0"]);
        expect(
            &packet,
            CORE,
            "AltTextAccessibility",
            "Alt",
            &["A shell of gas"],
        );
        expect(&packet, CORE, "CiUrlWork", "", &["https://lantern.example"]);
        expect(&packet, EXTENSION, "DigitalSourceType", "", &[COMPOSITE]);
        expect(&packet, AVM, "MetadataVersion", "", &["1.1"]);
        expect(&packet, AVM, "Type", "", &["Observation"]);
        expect(
            &packet,
            AVM,
            "Spectral.Notes",
            "Alt",
            &["Each line added as light."],
        );
        expect(
            &packet,
            AVM,
            "Spatial.ReferenceValue",
            "Seq",
            &["83.633", "-5.25"],
        );
        expect(&packet, AVM, "Spatial.Rotation", "", &["-12.5"]);
        let document = Document::parse(&packet).expect("well-formed");
        let title = find(&document, DC, "title").expect("a title");
        let item = title
            .descendants()
            .find(|node| node.has_tag_name((RDF, "li")))
            .expect("li");
        let language = item.attribute(("http://www.w3.org/XML/1998/namespace", "lang"));
        assert_eq!(language, Some("x-default"));
    }

    #[test]
    fn sequences_stay_in_step() {
        let packet = packet(&lantern());
        for (name, texts) in [
            ("Instrument", ["-", "Wick camera"]),
            ("Spectral.ColorAssignment", ["Red", "Green"]),
            ("Spectral.Band", ["Optical", "Optical"]),
            ("Spectral.Bandpass", ["[S II] 6 nm", "-"]),
            ("Spectral.CentralWavelength", ["672.4", "-"]),
            ("Temporal.IntegrationTime", ["18000", "-"]),
        ] {
            expect(&packet, AVM, name, "Seq", &texts);
        }
    }

    #[test]
    fn empty_fields_are_left_out() {
        let lantern = packet(&lantern());
        for name in [
            "Facility",
            "Temporal.StartTime",
            "DatasetID",
            "Publisher",
            "Distance",
        ] {
            assert_eq!(values(&lantern, AVM, name), None, "{name}");
        }
        assert_eq!(values(&lantern, PHOTOSHOP, "Credit"), None);
        let bare = packet(&Description::default());
        let document = Document::parse(&bare).expect("well-formed");
        let names: Vec<_> = document
            .descendants()
            .filter(|node| node.is_element())
            .map(|node| node.tag_name().name().to_owned())
            .collect();
        let expected = [
            "xmpmeta",
            "RDF",
            "Description",
            "DigitalSourceType",
            "MetadataVersion",
            "Type",
        ];
        assert_eq!(names, expected);
    }

    #[test]
    fn the_header_can_be_dropped() {
        let whole = packet(&lantern());
        assert!(values(&whole, AVM, "Spatial.FITSheader").expect("there").1[0].contains("a < b"));
        let mut without = lantern();
        without
            .spatial
            .as_mut()
            .expect("spatial")
            .fits_header
            .clear();
        assert_eq!(without_fits_header(&whole), packet(&without));
        assert!(matches!(
            without_fits_header(&packet(&without)),
            Cow::Borrowed(_)
        ));
    }
}
