//! What a packet says, as plain data.

/// What a packet says. Empty texts, empty lists and `None` are left out.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Description {
    /// `dc:title`
    pub title: String,
    /// `dc:description`: the caption.
    pub description: String,
    /// `photoshop:Headline`: one line.
    pub headline: String,
    /// `dc:creator`: persons, in order.
    pub creators: Vec<String>,
    /// `photoshop:Source`: the organisation that made the picture.
    pub organisation: String,
    /// Contact page, `CreatorContactInfo/CiUrlWork` of IPTC Core.
    pub creator_url: String,
    /// `photoshop:Credit`
    pub credit: String,
    /// `dc:rights` and `xmpRights:UsageTerms`
    pub rights: String,
    /// `Iptc4xmpCore:AltTextAccessibility`: the picture in words.
    pub alt_text: String,
    /// `dc:subject`: names of objects and other keywords.
    pub keywords: Vec<String>,
    /// `avm:Subject.Category`: codes of the AVM taxonomy, such as `B.4.1.4`.
    pub subject_categories: Vec<String>,
    /// `avm:Distance`: light years.
    pub distance_ly: Option<f64>,
    /// `avm:Distance.Notes`
    pub distance_notes: String,
    /// `avm:ReferenceURL`
    pub reference_url: String,
    /// `photoshop:DateCreated`: when the picture was made, ISO 8601, if the
    /// user says so.
    pub date: String,
    /// `avm:ID`: unique to the publisher.
    pub id: String,
    /// `avm:Image.ProductQuality`: Good, Moderate or Poor.
    pub product_quality: String,
    /// `avm:Publisher`
    pub publisher: String,
    /// `avm:PublisherID`
    pub publisher_id: String,
    /// `avm:ResourceID`
    pub resource_id: String,
    /// `avm:ResourceURL`
    pub resource_url: String,
    /// `avm:MetadataDate`, ISO 8601, if the user says so.
    pub metadata_date: String,
    /// `xmp:CreatorTool`: name and version of this program.
    pub software: String,
    /// The channels, in the order of the recipe.
    pub channels: Vec<Channel>,
    /// `avm:Spectral.Notes`: how channels became colours.
    pub spectral_notes: String,
    /// Where the picture lies on the sky.
    pub spatial: Option<Spatial>,
}

/// One channel of the picture: an entry of each `Spectral`, `Temporal` and
/// instrument sequence.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Channel {
    /// `avm:Facility`
    pub facility: String,
    /// `avm:Instrument`
    pub instrument: String,
    /// `avm:Spectral.ColorAssignment`: one of AVM's colour names.
    pub color_name: String,
    /// `avm:Spectral.Band`: `Optical`, `Infrared`, ...
    pub band: String,
    /// `avm:Spectral.Bandpass`: free text.
    pub bandpass: String,
    /// `avm:Spectral.CentralWavelength`, nm.
    pub central_wavelength_nm: Option<f64>,
    /// `avm:Temporal.StartTime`: ISO 8601, UT.
    pub start_time: String,
    /// `avm:Temporal.IntegrationTime`, seconds.
    pub integration_s: Option<f64>,
    /// `avm:DatasetID`
    pub dataset_id: String,
}

/// Place on the sky, in the sense of FITS: pixels count from (1, 1) at the
/// bottom left.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Spatial {
    /// `avm:Spatial.CoordinateFrame`: ICRS, FK5, FK4, ECL, GAL or SGAL.
    pub frame: String,
    /// `avm:Spatial.Equinox`: `J2000`, ...
    pub equinox: String,
    /// `avm:Spatial.ReferenceValue`, degrees.
    pub reference_value: [f64; 2],
    /// `avm:Spatial.ReferenceDimension`: width and height, pixels.
    pub reference_dimension: [f64; 2],
    /// `avm:Spatial.ReferencePixel`
    pub reference_pixel: [f64; 2],
    /// `avm:Spatial.Scale`, degrees a pixel.
    pub scale: [f64; 2],
    /// `avm:Spatial.Rotation`, degrees, as CROTA2.
    pub rotation: f64,
    /// `avm:Spatial.CoordsystemProjection`: TAN, SIN, ARC, AIT, CAR or CEA.
    pub projection: String,
    /// `avm:Spatial.Quality`: Full or Position.
    pub quality: String,
    /// `avm:Spatial.Notes`
    pub notes: String,
    /// `avm:Spatial.FITSheader`: the cards, one a line.
    pub fits_header: String,
}
