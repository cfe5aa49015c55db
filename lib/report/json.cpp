#include "report/json.h"

#include "report/boot_text.h"
#include "report/json_values.h"
#include "report/time_text.h"

namespace platter {
namespace {

template <typename... Visitors>
struct Overloaded : Visitors... {
  using Visitors::operator()...;
};
template <typename... Visitors>
Overloaded(Visitors...) -> Overloaded<Visitors...>;

Json facts_value(const Facts& facts) {
  Json object = Json::object();
  for (const auto& [name, value] : facts.entries()) {
    std::visit(Overloaded{[&](const DiskText& text) { put_text(object, name, text); },
                          [&](const Timestamp& time) { object[name] = iso8601(time.seconds); },
                          [&](const auto& plain) { object[name] = plain; }},
               value);
  }
  return object;
}

Json layers_value(const std::vector<Layer>& layers) {
  Json array = Json::array();
  for (const Layer& layer : layers) {
    array.push_back({{"id", json_text(layer.id)},
                     {"kind", layer_kind_name(layer.kind)},
                     {"format", layer.format},
                     {"start", layer.start},
                     {"bytes", layer.bytes},
                     {"facts", facts_value(layer.facts)},
                     {"layers", layers_value(layer.layers)}});
  }
  return array;
}

Json boot_value(const std::vector<BootVerdict>& rows) {
  Json array = Json::array();
  for (const BootVerdict& row : rows) {
    Json evidence = Json::array();
    for (const Evidence& item : row.evidence) {
      evidence.push_back({{"check", item.check},
                          {"sentence", item.sentence},
                          {"demanded", item.demanded},
                          {"holds", item.holds},
                          {"start", item.start},
                          {"bytes", item.bytes},
                          {"detail", json_text(item.detail)},
                          {"source", item.source}});
      if (!item.remedy.empty()) evidence.back()["remedy"] = json_text(item.remedy);
    }
    array.push_back({{"machine", row.machine},
                     {"as", boot_as_name(row.as)},
                     {"verdict", verdict_name(row.verdict)},
                     {"evidence", evidence}});
  }
  return array;
}

Json survey_value(const Survey& survey) {
  return {{"schema", "platter.survey/1"},
          {"image", image_value(survey.image)},
          {"layers", layers_value(survey.layers)},
          {"boot", boot_value(survey.boot)},
          {"findings", findings_value(survey.findings)}};
}

}  // namespace

std::string json_text(std::string_view bytes) {
  return decode_text(bytes, Charset::ascii).utf8;
}

void put_text(Json& object, std::string_view key, const DiskText& text) {
  const Decoded decoded = decode_text(text.raw, text.charset);
  object[std::string(key)] = decoded.utf8;
  if (decoded.exact) return;
  // An object's own name has its bytes under "raw"; any other text under its key with a suffix.
  object[key == "name" ? "raw" : std::string(key) + "_raw"] = hex_of(text.raw);
}

Json findings_value(const std::vector<Finding>& findings) {
  Json array = Json::array();
  for (const Finding& finding : findings) {
    array.push_back({{"severity", severity_name(finding.severity)},
                     {"code", finding_kind(finding.code).code},
                     {"layer", json_text(finding.layer)},
                     {"start", finding.start},
                     {"bytes", finding.bytes},
                     {"message", json_text(finding.message)}});
  }
  return array;
}

Json image_value(const ImageFacts& image) {
  Json value = {{"path", json_text(image.path)},
                {"bytes", image.bytes},
                {"stored_bytes", image.stored_bytes},
                {"container", image.container}};
  if (!is_utf8(image.path)) value["raw"] = hex_of(image.path);
  if (!image.member.empty()) value["member"] = json_text(image.member);
  return value;
}

std::string document_text(const Json& document) {
  return document.dump(2) + "\n";
}

std::string survey_json(const Survey& survey) {
  return document_text(survey_value(survey));
}

std::string surveys_json(const std::vector<Survey>& surveys) {
  Json array = Json::array();
  for (const Survey& survey : surveys)
    array.push_back(survey_value(survey));
  return document_text(array);
}

std::string boot_json(const BootReport& report) {
  return document_text({{"schema", "platter.boot/1"},
                        {"image", image_value(report.image)},
                        {"boot", boot_value(report.rows)},
                        {"findings", findings_value(report.findings)}});
}

std::string fit_json(const Fit& fit) {
  return document_text({{"schema", "platter.fit/1"},
                        {"fits", fit.fits},
                        {"image_bytes", fit.image_bytes},
                        {"claimed_bytes", fit.claimed_bytes},
                        {"region", {{"start", fit.region_start}, {"bytes", fit.region_bytes}}},
                        {"spare_bytes", fit.spare_bytes},
                        {"findings", findings_value(fit.findings)}});
}

}  // namespace platter
