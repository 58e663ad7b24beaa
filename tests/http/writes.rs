//! Every write route of the API and of the pages: a request that fits, and what each of its fields takes.

mod bills;
mod buying;
mod cellar;
mod climate;
mod counts;
mod intake;
mod measured;
mod recipes;
mod steps;
mod tastings;
mod vessels;

use serde_json::{Value, json};

use super::scene::Scene;
use super::values::Takes::{
    self, Ages, Amount, AnyDay, Counted, Flag, Id, Line, Number, Past, Pieces, Price, Remark, Source, ToCome,
    Whole, Word,
};
use super::values::amount;

/// One request that records something.
pub struct Write {
    /// The method and the route as the table of routes names it.
    pub route: (&'static str, &'static str),
    /// The address in the scene.
    pub path: String,
    /// A body that fits; on a page its fields are those of the form.
    pub body: Value,
    /// What its fields take.
    pub fields: Vec<Field>,
    /// A change that makes another command of it.
    pub other: Option<(&'static str, Value)>,
    /// It carries a request key.
    pub keyed: bool,
}

/// A field by its dotted path.
pub struct Field {
    pub path: &'static str,
    pub takes: Takes,
    /// It may not be left out.
    pub needed: bool,
}

impl Write {
    /// It is one of the API.
    pub fn is_api(&self) -> bool {
        self.route.1.starts_with("/api/v1")
    }

    /// It takes a body at all.
    pub fn has_body(&self) -> bool {
        !matches!(self.route.0, "DELETE")
    }
}

/// What is asked, on the page and by the API alike.
struct Asked {
    body: Value,
    fields: Vec<Field>,
    other: Option<(&'static str, Value)>,
    keyed: bool,
}

fn asked(body: Value) -> Asked {
    Asked { body, fields: Vec::new(), other: None, keyed: true }
}

impl Asked {
    fn may(mut self, path: &'static str, takes: Takes) -> Self {
        self.fields.push(Field { path, takes, needed: false });
        self
    }

    fn needs(mut self, path: &'static str, takes: Takes) -> Self {
        self.fields.push(Field { path, takes, needed: true });
        self
    }

    fn other(mut self, path: &'static str, value: Value) -> Self {
        self.other = Some((path, value));
        self
    }

    fn unkeyed(mut self) -> Self {
        self.keyed = false;
        self
    }

    fn at(self, method: &'static str, route: &'static str, path: String) -> Write {
        let Self { body, fields, other, keyed } = self;
        Write { route: (method, route), path, body, fields, other, keyed }
    }

    fn post(self, route: &'static str, path: String) -> Write {
        self.at("POST", route, path)
    }
}

/// All of them, in this scene.
pub fn all(s: &Scene) -> Vec<Write> {
    let mut found = Vec::new();
    stores(s, &mut found);
    buying::all(s, &mut found);
    climate::all(s, &mut found);
    cellar::all(s, &mut found);
    bills::all(s, &mut found);
    batches(s, &mut found);
    bottles(s, &mut found);
    tastings::all(s, &mut found);
    counts::all(s, &mut found);
    intake::all(s, &mut found);
    recipes::all(s, &mut found);
    steps::all(s, &mut found);
    vessels::all(s, &mut found);
    vessels::holds(s, &mut found);
    people(s, &mut found);
    own_page(s, &mut found);
    found
}

fn stores(s: &Scene, to: &mut Vec<Write>) {
    let c = &s.cellar;
    let place = || {
        let body = json!({"name": "Vat loft", "within": c.place, "capacity": 60});
        asked(body)
            .needs("name", Line)
            .may("within", Id)
            .may("capacity", Whole)
            .other("name", json!("Sluice room"))
    };
    to.push(place().post("/api/v1/places", "/api/v1/places".to_owned()));
    to.push(place().post("/stores/places", "/stores/places".to_owned()));
    let path = format!("/api/v1/places/{}", c.shelf);
    to.push(place().at("PUT", "/api/v1/places/{id}", path));
    to.push(place().post("/stores/places/{id}", format!("/stores/places/{}", c.shelf)));
    let parts = |asked: Asked| {
        asked
            .needs("name", Line)
            .needs("kind", Word)
            .may("density_g_per_ml", Number("1.5", "9"))
            .may("low_at", Counted("g"))
            .may("sugar_g_per_kg", Number("1.5", "1101"))
            .may("lactose_g_per_kg", Number("1.5", "-1"))
            .may("fat_g_per_kg", Number("1.5", "1101"))
            .may("casein_g_per_kg", Number("1.5", "1101"))
            .may("splits_lactose", Flag)
            .other("low_at", amount("3", "kg"))
    };
    let item = |name: &str, by_api: bool| {
        let body = json!({"name": name, "kind": "by-product", "unit": "g", "low_at": amount("2", "kg")});
        let asked = parts(asked(body)).may("unit", Word);
        if by_api {
            asked.may("value_per_unit", Price).may("allergens", Word)
        } else {
            asked.may("value", Price)
        }
    };
    let curds = format!("/stores/items/{}", c.curds);
    to.push(item("Pomace", true).post("/api/v1/items", "/api/v1/items".to_owned()));
    let keg = asked(json!({"name": "Keg", "kind": "packaging", "unit": "piece", "made_for_bar": "3"}));
    let keg =
        keg.needs("name", Line).may("made_for_bar", Number("2.5", "13")).other("made_for_bar", json!("4"));
    to.push(keg.post("/api/v1/items", "/api/v1/items".to_owned()));
    to.push(item("Lees", false).post("/stores/items", "/stores/items".to_owned()));
    let path = format!("/api/v1/items/{}", c.curds);
    to.push(item("Fresh curds", true).at("PUT", "/api/v1/items/{id}", path));
    to.push(item("Fresh curds", false).post("/stores/items/{id}", curds));
    let receipt = || {
        let line = json!({"item": c.milk, "quantity": amount("2", "L"), "cost": "2.40", "place": c.place,
            "best_before": "2026-03-20", "supplier": "Weir Farm", "supplier_mark": "W 7"});
        asked(json!({"day": "2026-03-04", "paid_by": s.member, "lines": [line], "remark": "by boat"}))
            .may("day", Past)
            .may("paid_by", Id)
            .needs("lines.0.item", Id)
            .needs("lines.0.quantity", Amount("L"))
            .needs("lines.0.cost", Price)
            .needs("lines.0.place", Id)
            .may("lines.0.best_before", AnyDay)
            .may("lines.0.supplier", Line)
            .may("lines.0.supplier_mark", Line)
            .may("remark", Remark)
            .other("lines.0.cost", json!("2.50"))
    };
    to.push(receipt().post("/api/v1/receipts", "/api/v1/receipts".to_owned()));
    to.push(receipt().post("/stores/receipts", "/stores/receipts".to_owned()));
    let carry = || {
        let body = json!({"day": "2026-03-05", "quantity": amount("1", "L"), "from": c.place, "to": c.shelf});
        let asked = asked(body).may("day", Past).needs("quantity", Amount("L"));
        asked.needs("from", Id).needs("to", Id).other("quantity", amount("2", "L"))
    };
    let lot = c.milk_lot;
    to.push(carry().post("/api/v1/lots/{id}/moves", format!("/api/v1/lots/{lot}/moves")));
    to.push(carry().post("/stores/lots/{id}/move", format!("/stores/lots/{lot}/move")));
    let count = || {
        let body =
            json!({"day": "2026-03-05", "place": c.place, "counted": amount("9", "L"), "reason": "spilt"});
        let asked = asked(body).may("day", Past).needs("place", Id).needs("counted", Counted("L"));
        asked.needs("reason", Line).other("counted", amount("8", "L"))
    };
    to.push(count().post("/api/v1/lots/{id}/counts", format!("/api/v1/lots/{lot}/counts")));
    to.push(count().post("/stores/lots/{id}/count", format!("/stores/lots/{lot}/count")));
}

fn batches(s: &Scene, to: &mut Vec<Write>) {
    let c = &s.cellar;
    let plan = || {
        let body = json!({"name": "Tide White", "base_volume": amount("30", "L"), "day": "2026-03-01"});
        let asked = asked(body).needs("name", Line).may("base_volume", Amount("L")).may("day", Past);
        asked.other("name", json!("Tide Red"))
    };
    to.push(plan().post("/api/v1/batches", "/api/v1/batches".to_owned()));
    to.push(plan().post("/batches", "/batches".to_owned()));
    let way = |more: Value| {
        let mut body =
            json!({"base": "sheep", "amount": "60 L", "goal": "11", "name": "Tide Way", "day": "2026-03-04"});
        let more = more.as_object().cloned().unwrap_or_default();
        body.as_object_mut().expect("fields").extend(more);
        asked(body).needs("name", Line).may("day", Past).other("name", json!("Another way"))
    };
    let (page, api) = ("/workbench/routes/batch", "/api/v1/workbench/routes/batch");
    to.push(way(json!({"route": "sweeten"})).post(page, page.to_owned()));
    to.push(way(json!({"route": "mix"})).post(api, api.to_owned()));
    for (task, asked) in made_of(s) {
        to.push(asked.post("/batches/{id}/{task}", format!("/batches/{}/{task}", c.batch)));
    }
    to.push(closed().post("/batches/{id}/{task}", format!("/batches/{}/close", s.spare)));
    let own = |name: &str| format!("/api/v1/batches/{}/{name}", c.batch);
    for (line, more) in [("item", json!({"item": c.milk})), ("lot", json!({"lot": c.milk_lot}))] {
        let field = if line == "item" { "lines.0.item" } else { "lines.0.lot" };
        let asked = drawn(more, "L").may(field, Id).may("lines.0.quantity", Amount("L"));
        to.push(asked.post("/api/v1/batches/{id}/draws", own("draws")));
    }
    let yeast = drawn(json!({"item": c.yeast}), "g").needs("lines.0.item", Id);
    let yeast = yeast.needs("lines.0.quantity", Amount("g"));
    to.push(yeast.post("/api/v1/batches/{id}/pitch", own("pitch")));
    measured::all(s, to);
    to.push(weighed(s).post("/api/v1/batches/{id}/by-products", own("by-products")));
    to.push(lost().post("/api/v1/batches/{id}/losses", own("losses")));
    to.push(racked(s).post("/api/v1/batches/{id}/rackings", own("rackings")));
    to.push(split().post("/api/v1/batches/{id}/splits", own("splits")));
    to.push(blended(s).post("/api/v1/batches/{id}/blends", own("blends")));
    let corks = json!({"item": s.corks, "quantity": "2 pieces"});
    let filled = filled(s, &corks).may("packaging.0.item", Id).may("packaging.0.quantity", Pieces);
    to.push(filled.post("/api/v1/batches/{id}/bottlings", own("bottlings")));
    let empty = format!("/api/v1/batches/{}/closing", s.spare);
    to.push(closed().post("/api/v1/batches/{id}/closing", empty));
    to.push(given_up().post("/api/v1/batches/{id}/abandonment", own("abandonment")));
    let strike = || {
        asked(json!({"reason": "the glass was foul"})).needs("reason", Line).other("reason", json!("slip"))
    };
    to.push(strike().post("/api/v1/readings/{id}/strike", format!("/api/v1/readings/{}/strike", c.reading)));
    let page = format!("/batches/{}/readings/{}/strike", c.batch, c.reading);
    to.push(strike().post("/batches/{id}/readings/{reading}/strike", page));
    let entry = c.bottled.entry;
    to.push(strike().post("/api/v1/entries/{id}/reversal", format!("/api/v1/entries/{entry}/reversal")));
    to.push(strike().post("/entries/{id}/reversal", format!("/entries/{entry}/reversal")));
}

/// What the tasks of a batch's page take, by their names in the address; only an empty batch is closed.
fn made_of(s: &Scene) -> Vec<(&'static str, Asked)> {
    let c = &s.cellar;
    let source = |id: String| json!({"source": format!("item:{id}")});
    let milk = drawn(source(c.milk.to_string()), "L");
    let yeast = drawn(source(c.yeast.to_string()), "g");
    let mut corks = source(s.corks.to_string());
    corks["quantity"] = json!("2");
    vec![
        ("draw", milk.needs("lines.0.source", Source).needs("lines.0.quantity", Amount("L"))),
        ("pitch", yeast.needs("lines.0.source", Source).needs("lines.0.quantity", Amount("g"))),
        ("by-product", weighed(s)),
        ("rack", racked(s)),
        ("split", split()),
        ("blend", blended(s)),
        ("bottle", filled(s, &corks).may("packaging.0.source", Source).may("packaging.0.quantity", Pieces)),
        ("loss", lost()),
        ("abandon", given_up()),
    ]
}

fn drawn(mut line: Value, unit: &str) -> Asked {
    line["quantity"] = amount("1", unit);
    line["expired_because"] = json!("it smells of hay");
    asked(json!({"day": "2026-06-02", "lines": [line], "volume_after": amount("11", "L"), "remark": "warm"}))
        .may("day", Past)
        .may("lines.0.expired_because", Line)
        .may("volume_after", Amount("L"))
        .may("remark", Remark)
        .other("remark", json!("cold"))
}

fn weighed(s: &Scene) -> Asked {
    let c = &s.cellar;
    let body = json!({"day": "2026-06-02", "item": c.curds, "quantity": amount("1", "kg"), "place": c.place,
        "best_before": "2026-06-20", "value_per_unit": "0.002", "volume_after": amount("9", "L"), "remark": "soft"});
    asked(body)
        .may("day", Past)
        .needs("item", Id)
        .needs("quantity", Amount("kg"))
        .needs("place", Id)
        .may("best_before", AnyDay)
        .may("value_per_unit", Price)
        .may("volume_after", Amount("L"))
        .may("remark", Remark)
        .other("remark", json!("firm"))
}

fn lost() -> Asked {
    let body = json!({"day": "2026-06-02", "volume": amount("1", "L"), "normal": true, "reason": "lees"});
    let asked = asked(body).may("day", Past).needs("volume", Amount("L")).may("normal", Flag);
    asked.needs("reason", Line).other("normal", json!(false))
}

fn racked(s: &Scene) -> Asked {
    let asked = asked(json!({"day": "2026-06-02", "volume_after": amount("9", "L"), "remark": "clear",
        "vessel": s.free, "temperature_c": "18", "reasons": {}}));
    let asked = asked.may("day", Past).may("volume_after", Amount("L")).may("remark", Remark);
    let asked =
        asked.may("vessel", Id).may("temperature_c", Number("18.5", "400")).may("reasons.hot-glass", Line);
    asked.other("volume_after", amount("8", "L"))
}

fn split() -> Asked {
    let body =
        json!({"day": "2026-06-02", "volume": amount("1", "L"), "name": "Tide Red", "remark": "berries"});
    let asked = asked(body).may("day", Past).needs("volume", Amount("L")).may("name", Line);
    asked.may("remark", Remark).other("name", json!("Tide Rose"))
}

fn blended(s: &Scene) -> Asked {
    let body =
        json!({"day": "2026-06-02", "volume": amount("1", "L"), "into": s.spare, "remark": "to taste"});
    let asked = asked(body).may("day", Past).needs("volume", Amount("L")).needs("into", Id);
    asked.may("remark", Remark).other("volume", amount("2", "L"))
}

fn filled(s: &Scene, packaging: &Value) -> Asked {
    let body = json!({"day": "2026-06-02", "bottles": 2, "bottle_volume": amount("75", "cl"), "place": s.cellar.place,
        "tasting_ages_days": [90, 180], "lost_volume": amount("0.1", "L"), "packaging": [packaging], "remark": "bright",
        "broken": 0, "also": [{"bottles": 1, "bottle_volume": amount("10", "cl")}],
        "reasons": {"unfinished": "the second hydrometer shows 0.998"}});
    asked(body)
        .may("day", Past)
        .needs("bottles", Whole)
        .needs("bottle_volume", Amount("L"))
        .needs("place", Id)
        .may("tasting_ages_days", Ages)
        .may("ages_by_warmth", Flag)
        .may("lost_volume", Counted("L"))
        .needs("also.0.bottles", Whole)
        .may("remark", Remark)
        .needs("reasons.unfinished", Line)
        .other("bottles", json!(3))
}

fn closed() -> Asked {
    let asked = asked(json!({"day": "2026-06-02", "reason": "all is drunk"})).may("day", Past);
    asked.may("reason", Remark).other("reason", json!("the vat is needed"))
}

fn given_up() -> Asked {
    let asked = asked(json!({"day": "2026-06-02", "reason": "it turned"})).may("day", Past);
    asked.needs("reason", Line).other("reason", json!("it was spilt"))
}

fn bottles(s: &Scene, to: &mut Vec<Write>) {
    let c = &s.cellar;
    let taken = || {
        let body = json!({"day": "2026-06-10", "bottles": 1, "reason": "taken", "member": s.member, "place": c.place,
            "remark": "for the boat"});
        let asked = asked(body).may("day", Past).needs("bottles", Whole).may("reason", Word);
        asked.may("member", Id).may("place", Id).may("remark", Remark).other("bottles", json!(2))
    };
    let bottling = c.bottled.bottling;
    let path = format!("/api/v1/bottlings/{bottling}/withdrawals");
    to.push(taken().post("/api/v1/bottlings/{id}/withdrawals", path));
    to.push(taken().post("/bottles/{id}/withdrawals", format!("/bottles/{bottling}/withdrawals")));
    let at = |under: &str, what: &str| format!("{under}/reminders/{}/{what}", c.reminder);
    let off = || {
        let asked = asked(json!({"day": "2099-03-01"})).needs("day", ToCome);
        asked.other("day", json!("2099-03-02"))
    };
    let given = || asked(json!({"member": s.member})).needs("member", Id).other("member", json!(s.taster));
    let nothing = || asked(json!({}));
    to.push(off().post("/api/v1/reminders/{id}/put-off", at("/api/v1", "put-off")));
    to.push(off().post("/reminders/{id}/put-off", at("", "put-off")));
    to.push(given().post("/api/v1/reminders/{id}/give", at("/api/v1", "give")));
    to.push(given().post("/reminders/{id}/give", at("", "give")));
    to.push(nothing().post("/api/v1/reminders/{id}/done", at("/api/v1", "done")));
    to.push(nothing().post("/reminders/{id}/done", at("", "done")));
    let settled = |under: &str| format!("{under}/reminders/{}/undone", s.settled);
    to.push(nothing().post("/api/v1/reminders/{id}/undone", settled("/api/v1")));
    to.push(nothing().post("/reminders/{id}/undone", settled("")));
}

fn people(s: &Scene, to: &mut Vec<Write>) {
    let paid = || {
        let body = json!({"day": "2026-06-02", "way": "to-club", "amount": "12.50", "remark": "in cash"});
        let asked = asked(body).may("day", Past).needs("way", Word).needs("amount", Price);
        asked.may("remark", Remark).other("amount", json!("12.60"))
    };
    let path = format!("/api/v1/members/{}/payments", s.taster);
    to.push(paid().post("/api/v1/members/{id}/payments", path));
    let path = format!("/reports/members/{}/payments", s.taster);
    to.push(paid().post("/reports/members/{id}/payments", path));
    let moved = || {
        let body = json!({"day": "2026-06-02", "from": s.taster, "to": s.member, "amount": "3.50", "remark": "by hand"});
        let asked = asked(body).may("day", Past).may("from", Id).may("to", Id).needs("amount", Price);
        asked.may("remark", Remark).other("amount", json!("3.60"))
    };
    to.push(moved().post("/api/v1/transfers", "/api/v1/transfers".to_owned()));
    to.push(moved().post("/reports/settling-up/paid", "/reports/settling-up/paid".to_owned()));
    let sharing = || {
        let body = json!({"shares": [{"member": s.taster, "laid_out": "12.50", "worked": "3"}]});
        let asked = asked(body).needs("shares.0.member", Id).may("shares.0.laid_out", Price);
        asked.may("shares.0.worked", Price).other("shares.0.laid_out", json!("13"))
    };
    let path = format!("/batches/{}/shares", s.cellar.batch);
    to.push(sharing().post("/api/v1/batches/{id}/shares", format!("/api/v1{path}")));
    to.push(sharing().post("/batches/{id}/shares", path));
    let wish = || {
        let asked = asked(json!({"bottles": 3, "remark": "for midsummer"}));
        asked.may("remark", Line).other("bottles", json!(4))
    };
    let bottling = s.cellar.bottled.bottling;
    to.push(wish().post("/api/v1/bottlings/{id}/wishes", format!("/api/v1/bottlings/{bottling}/wishes")));
    to.push(wish().post("/bottles/{id}/wish", format!("/bottles/{bottling}/wish")));
    let limit = || {
        let asked = asked(json!({"limit": amount("400", "L")})).may("limit", Amount("L"));
        asked.other("limit", amount("401", "L"))
    };
    let page = "/reports/production/limit";
    to.push(limit().at("PUT", "/api/v1/reports/production/limit", format!("/api/v1{page}")));
    to.push(limit().post(page, page.to_owned()));
    let role = || asked(json!({"role": "onlooker"})).needs("role", Word).other("role", json!("cellarhand"));
    to.push(role().at("PUT", "/api/v1/members/{id}/role", format!("/api/v1/members/{}/role", s.taster)));
    to.push(role().post("/club/members/{id}/role", format!("/club/members/{}/role", s.taster)));
    let gone = || asked(json!({}));
    to.push(gone().at("DELETE", "/api/v1/members/{id}", format!("/api/v1/members/{}", s.taster)));
    to.push(gone().post("/club/members/{id}/removal", format!("/club/members/{}/removal", s.taster)));
    let invited = || {
        let asked = asked(json!({"name": "Ilse", "role": "taster"})).needs("name", Line);
        asked.needs("role", Word).other("name", json!("Ida"))
    };
    to.push(invited().post("/api/v1/invitations", "/api/v1/invitations".to_owned()));
    to.push(invited().post("/club/invitations", "/club/invitations".to_owned()));
    let link = || asked(json!({}));
    to.push(link().post("/api/v1/members/{id}/link", format!("/api/v1/members/{}/link", s.guest)));
    to.push(link().post("/club/members/{id}/link", format!("/club/members/{}/link", s.guest)));
    let withdrawn = || asked(json!({})).unkeyed();
    let path = format!("/api/v1/invitations/{}", s.invitation);
    to.push(withdrawn().at("DELETE", "/api/v1/invitations/{id}", path));
    let path = format!("/club/invitations/{}/withdrawal", s.invitation);
    to.push(withdrawn().post("/club/invitations/{id}/withdrawal", path));
}

fn own_page(s: &Scene, to: &mut Vec<Write>) {
    let nothing = || asked(json!({})).unkeyed();
    let path = format!("/api/v1/tokens/{}", s.spare_token);
    to.push(nothing().at("DELETE", "/api/v1/tokens/{id}", path));
    let path = format!("/me/tokens/{}/revocation", s.spare_token);
    to.push(nothing().post("/me/tokens/{id}/revocation", path));
    let token = asked(json!({"label": "Sensor", "scope": "read", "days": 30})).needs("label", Line);
    let token = token.needs("scope", Word).needs("days", Whole).other("days", json!(31));
    to.push(token.post("/me/tokens", "/me/tokens".to_owned()));
    let club = asked(json!({"club": s.cellar.club.steward.club})).needs("club", Id).unkeyed();
    to.push(club.post("/me/club", "/me/club".to_owned()));
    let letters = || asked(json!({"hour": 6})).other("hour", json!(8));
    to.push(letters().at("PUT", "/api/v1/me/letters", "/api/v1/me/letters".to_owned()));
    to.push(letters().post("/me/letters", "/me/letters".to_owned()));
    for path in ["/me/calendar", "/me/calendar/end"] {
        to.push(nothing().post(path, path.to_owned()));
    }
    let leave = asked(json!({}));
    to.push(leave.post("/me/leave", "/me/leave".to_owned()));
}
