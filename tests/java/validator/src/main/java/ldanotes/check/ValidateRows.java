package ldanotes.check;

import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.context.support.DefaultProfileValidationSupport;
import ca.uhn.fhir.context.support.IValidationSupport;
import ca.uhn.fhir.util.VersionUtil;
import ca.uhn.fhir.validation.FhirValidator;
import ca.uhn.fhir.validation.SingleValidationMessage;
import com.fasterxml.jackson.databind.ObjectMapper;
import com.fasterxml.jackson.databind.node.ArrayNode;
import com.fasterxml.jackson.databind.node.ObjectNode;
import java.io.BufferedReader;
import java.io.IOException;
import java.io.InputStreamReader;
import java.io.PrintStream;
import java.nio.charset.StandardCharsets;
import java.util.List;
import java.util.Set;
import org.hl7.fhir.common.hapi.validation.support.CommonCodeSystemsTerminologyService;
import org.hl7.fhir.common.hapi.validation.support.InMemoryTerminologyServerValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.PrePopulatedValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.SnapshotGeneratingValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.UnknownCodeSystemWarningValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.ValidationSupportChain;
import org.hl7.fhir.common.hapi.validation.validator.FhirInstanceValidator;
import org.hl7.fhir.r5.utils.validation.constants.BestPracticeWarningLevel;
import org.hl7.fhir.utilities.npm.NpmPackage;

/**
 * Validates R4 resources: one JSON resource per row on standard input, one JSON answer per row on standard
 * output. The first row written says that the program is ready and which release it runs.
 *
 * <p>The argument, if there is one, is the folder of an unpacked FHIR package to load.
 *
 * <p>Nothing is fetched: definitions and value sets come from the class path. Code systems that are not on it
 * (LOINC, SNOMED CT, RxNorm, ...) give a warning, since nothing here can tell whether such a code exists.
 */
public final class ValidateRows {
    private static final ObjectMapper JSON = new ObjectMapper();
    private static final Set<String> DEFINED = Set.of("StructureDefinition", "CodeSystem", "ValueSet");

    private ValidateRows() {}

    public static void main(String[] args) throws IOException {
        PrintStream answers = new PrintStream(System.out, false, StandardCharsets.UTF_8);
        System.setOut(System.err); // whatever a library prints must not reach the answers

        FhirValidator validator = validator(args.length == 0 ? null : args[0]);
        // The first resource pays for loading the definitions; do that before saying ready.
        validator.validateWithResult("{\"resourceType\":\"Basic\",\"code\":{\"text\":\"warm-up\"}}");
        answers.println(JSON.createObjectNode().put("ready", true).put("version", VersionUtil.getVersion()));
        answers.flush();

        BufferedReader rows = new BufferedReader(new InputStreamReader(System.in, StandardCharsets.UTF_8));
        for (String row = rows.readLine(); row != null; row = rows.readLine()) {
            answers.println(answer(validator, row));
            answers.flush();
        }
    }

    /** With a folder: an unpacked FHIR package there, whose definitions are loaded as well. */
    private static FhirValidator validator(String packageFolder) throws IOException {
        FhirContext context = FhirContext.forR4();
        UnknownCodeSystemWarningValidationSupport unknownSystems =
                new UnknownCodeSystemWarningValidationSupport(context);
        unknownSystems.setNonExistentCodeSystemSeverity(IValidationSupport.IssueSeverity.WARNING);
        ValidationSupportChain chain = new ValidationSupportChain(
                loaded(context, packageFolder),
                new DefaultProfileValidationSupport(context),
                new SnapshotGeneratingValidationSupport(context), // profiles come as what they change
                new CommonCodeSystemsTerminologyService(context),
                new InMemoryTerminologyServerValidationSupport(context),
                unknownSystems);
        FhirInstanceValidator rules = new FhirInstanceValidator(chain);
        rules.setBestPracticeWarningLevel(BestPracticeWarningLevel.Warning);
        return context.newValidator().registerValidatorModule(rules);
    }

    private static PrePopulatedValidationSupport loaded(FhirContext context, String packageFolder) throws IOException {
        PrePopulatedValidationSupport loaded = new PrePopulatedValidationSupport(context);
        if (packageFolder != null) {
            NpmPackage npm = NpmPackage.fromFolder(packageFolder);
            for (String name : npm.listResources(DEFINED)) {
                loaded.addResource(context.newJsonParser().parseResource(npm.load("package", name)));
            }
        }
        return loaded;
    }

    private static ObjectNode answer(FhirValidator validator, String row) {
        ObjectNode answer = JSON.createObjectNode();
        ArrayNode issues = answer.putArray("issues");
        List<SingleValidationMessage> messages;
        try {
            messages = validator.validateWithResult(row).getMessages();
        } catch (RuntimeException fault) {
            // Not an answer about the resource: say so apart from the issues, and go on with the next row.
            fault.printStackTrace();
            answer.put("failed", fault.toString());
            return answer;
        }
        for (SingleValidationMessage message : messages) {
            issues.addObject()
                    .put("severity", message.getSeverity().getCode())
                    .put("location", message.getLocationString())
                    .put("message", message.getMessage())
                    .put("id", message.getMessageId());
        }
        return answer;
    }
}
